import { request } from 'node:http';
import { networkInterfaces } from 'node:os';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Pairing, Piece, Problem, Session } from '../../server/api/schemas.ts';
import { openApiDocument } from '../../server/api/openapi.ts';
import { OWN, startTestServer, type TestServer } from './support.ts';

let server: TestServer;
beforeAll(async () => {
  server = await startTestServer({ takesJobs: false, shared: true, config: { host: '0.0.0.0' } });
});
afterAll(async () => {
  await server.stop();
});

/** A request with any header at all, the Host included, which `fetch` would not send. */
const raw = (
  method: string,
  path: string,
  headers: Record<string, string>,
  body?: string,
): Promise<{ status: number; headers: Record<string, unknown>; text: string }> =>
  new Promise((resolve, reject) => {
    const sent = request({ host: '127.0.0.1', port: server.port, method, path, headers }, (answer) => {
      let text = '';
      answer.setEncoding('utf8').on('data', (chunk: string) => (text += chunk));
      answer.on('end', () => resolve({ status: answer.statusCode!, headers: answer.headers, text }));
    });
    sent.on('error', reject);
    sent.end(body);
  });

/** What a phone on the network looks like: the same server by another name. */
const PHONE = { host: 'swatch.home.example' };

/** Every route of the API with made-up ids in place of its parameters. */
const everyRoute = (): [method: string, path: string][] =>
  Object.entries(openApiDocument().paths).flatMap(([path, methods]) =>
    Object.keys(methods).map((method): [string, string] => [
      method.toUpperCase(),
      path.replaceAll(/\{\w+\}/g, '8dcf64c4-273f-4dbc-8a25-3ea6031b71cf'),
    ]),
  );

describe('a stranger on the network', () => {
  // Here nobody has an account: those routes say that there is no such thing.
  const open = ['session', 'pairings/redeem', 'account', 'sign-in', 'sign-out'].map(
    (one) => `/api/v1/${one}`,
  );
  it.each(everyRoute().filter(([, path]) => !open.includes(path)))('may not %s %s', async (method, path) => {
    const answer = await raw(method, path, { ...PHONE, ...OWN });
    expect(answer.status).toBe(401);
    expect(JSON.parse(answer.text)).toMatchObject({ code: 'sign-in' } satisfies Partial<Problem>);
  });

  it.each([
    ['through a proxy on this computer', { host: 'localhost', 'x-forwarded-for': '203.0.113.7' }],
    ['through a name that was pointed at this computer', { host: 'rebound.example:4173' }],
  ])('is one also %s', async (_how, headers) => {
    expect((await raw('GET', '/api/v1/pieces', headers)).status).toBe(401);
    expect((await raw('GET', '/metrics', headers)).status).toBe(401);
  });
});

describe('another site open in the same browser', () => {
  it.each(everyRoute().filter(([method]) => method !== 'GET'))('cannot %s %s', async (method, path) => {
    const withoutHeader = await raw(method, path, { host: 'localhost', origin: 'http://evil.example' });
    expect(withoutHeader.status).toBe(403);
    const crossSite = await raw(method, path, { host: 'localhost', ...OWN, 'sec-fetch-site': 'cross-site' });
    expect(crossSite.status).toBe(403);
  });

  it('is not told that it may ask (no CORS headers)', async () => {
    const preflight = await raw('OPTIONS', '/api/v1/pieces', {
      host: 'localhost',
      origin: 'http://evil.example',
      'access-control-request-method': 'POST',
      'access-control-request-headers': 'x-swatch-gauge',
    });
    expect(preflight.headers['access-control-allow-origin']).toBeUndefined();
  });
});

const hasNetwork = Object.values(networkInterfaces()).some((all) => all?.some(({ internal }) => !internal));

describe.runIf(hasNetwork)('a phone that is paired', () => {
  const pair = async (
    pieceId: string | null = null,
  ): Promise<{ cookie: string; pieceId: string | null; code: string }> => {
    const { code, url, qrSvg } = (await (
      await server.send('POST', '/pairings', { pieceId })
    ).json()) as Pairing;
    expect(url).toContain(code);
    expect(qrSvg).toContain('<svg');
    const headers = { ...PHONE, ...OWN, 'content-type': 'application/json' };
    const answer = await raw('POST', '/api/v1/pairings/redeem', headers, JSON.stringify({ code }));
    expect(answer.status).toBe(200);
    const [cookie] = answer.headers['set-cookie'] as string[];
    expect(cookie).toMatch(/HttpOnly/i);
    expect(cookie).toMatch(/SameSite=Strict/i);
    const { pieceId: opened } = JSON.parse(answer.text) as { pieceId: string | null };
    return { cookie: cookie!.split(';')[0]!, pieceId: opened, code };
  };

  it('opens the piece that the computer showed', async () => {
    const piece = (await (await server.send('POST', '/pieces', { name: 'Harbour throw' })).json()) as Piece;
    const { cookie, pieceId } = await pair(piece.id);
    expect(pieceId).toBe(piece.id);
    const seen = await raw('GET', `/api/v1/pieces/${pieceId}`, { ...PHONE, cookie });
    expect(JSON.parse(seen.text)).toMatchObject({ name: 'Harbour throw' });
    const session = JSON.parse((await raw('GET', '/api/v1/session', { ...PHONE, cookie })).text) as Session;
    expect(session).toMatchObject({ isHost: false, mode: 'network' });
  });

  it('cannot let further phones in, nor read the metrics', async () => {
    const { cookie } = await pair();
    expect((await raw('POST', '/api/v1/pairings', { ...PHONE, ...OWN, cookie })).status).toBe(403);
    expect((await raw('GET', '/metrics', { ...PHONE, cookie })).status).toBe(403);
  });

  it('uses its code up', async () => {
    const { code } = await pair();
    const headers = { ...PHONE, ...OWN, 'content-type': 'application/json' };
    const again = await raw('POST', '/api/v1/pairings/redeem', headers, JSON.stringify({ code }));
    expect(again.status).toBe(403);
  });

  it('is signed out by the computer', async () => {
    const { cookie } = await pair();
    await server.send('DELETE', '/pairings');
    expect((await raw('GET', '/api/v1/pieces', { ...PHONE, cookie })).status).toBe(401);
  });

  it('guessing codes is slowed down', async () => {
    const headers = { ...PHONE, ...OWN, 'content-type': 'application/json' };
    const statuses: number[] = [];
    for (let i = 0; i < 12; i++) {
      const answer = await raw(
        'POST',
        '/api/v1/pairings/redeem',
        headers,
        JSON.stringify({ code: `GUESS${i}` }),
      );
      statuses.push(answer.status);
      if (answer.status === 429) expect(answer.headers['retry-after']).toBeTruthy();
    }
    expect(statuses).toContain(429);
  });
});

describe('without --share', () => {
  it('no code is shown', async () => {
    const alone = await startTestServer({ takesJobs: false });
    const answer = await alone.send('POST', '/pairings', {});
    expect(answer.status).toBe(409);
    await alone.stop();
  });
});

describe('the page’s headers', () => {
  it('allow no inline code and nothing from elsewhere', async () => {
    const policy = String((await raw('GET', '/', { host: 'localhost' })).headers['content-security-policy']);
    expect(policy).toContain("default-src 'none'");
    expect(policy).not.toMatch(/unsafe|https?:|\*/);
  });
});
