import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openApiDocument } from '../../server/api/openapi.ts';
import { startTestServer, type TestServer } from './support.ts';

let server: TestServer;
beforeAll(async () => {
  server = await startTestServer({ takesJobs: false });
});
afterAll(async () => {
  await server.stop();
});

const NOBODY = '8dcf64c4-273f-4dbc-8a25-3ea6031b71cf';

describe('the API’s description', () => {
  it('is served as OpenAPI 3.1, every reference leading somewhere', async () => {
    const document = (await (await fetch(`${server.api}/openapi.json`)).json()) as ReturnType<
      typeof openApiDocument
    >;
    expect(document.openapi).toBe('3.1.0');
    const references = [...JSON.stringify(document).matchAll(/"\$ref":"([^"]+)"/g)].map((match) => match[1]!);
    expect(references.length).toBeGreaterThan(20);
    for (const reference of new Set(references)) {
      const name = /^#\/components\/schemas\/(\w+)$/.exec(reference)?.[1];
      expect(Object.keys(document.components.schemas)).toContain(name);
    }
    const ids = Object.values(document.paths).flatMap((path) =>
      Object.values(path).map((one) => one.operationId),
    );
    expect(new Set(ids).size).toBe(ids.length);
  });

  it('names only routes that are there', async () => {
    const documented = Object.entries(openApiDocument().paths).flatMap(([path, methods]) =>
      Object.keys(methods).map((method) => ({ method: method.toUpperCase(), path })),
    );
    for (const { method, path } of documented) {
      const address = path.replace('/api/v1', '').replaceAll(/\{\w+\}/g, NOBODY);
      const answer = await server.send(
        method,
        address,
        method === 'GET' || method === 'DELETE' ? undefined : {},
      );
      await answer.arrayBuffer();
    }
    const metrics = await (await fetch(server.api.replace('/api/v1', '/metrics'))).text();
    const answered = new Set(
      [...metrics.matchAll(/_request_seconds_count\{method="(\w+)",route="([^"]+)"/g)].map(
        ([, method, route]) => `${method} ${route!.replaceAll(/:(\w+)/g, '{$1}')}`,
      ),
    );
    const unanswered = documented
      .map(({ method, path }) => `${method} ${path}`)
      .filter((one) => !answered.has(one));
    expect(unanswered).toEqual([]);
  });

  it('is shown as a page that needs no script and carries no style of its own', async () => {
    const answer = await fetch(`${server.api}/docs`);
    const html = await answer.text();
    expect(answer.headers.get('content-type')).toContain('text/html');
    expect(html).not.toMatch(/<script|<style|style=|onclick/i);
    for (const path of Object.keys(openApiDocument().paths)) expect(html).toContain(path);
    expect(html).toContain('revision-stale');
    expect((await fetch(`${server.api}/docs.css`)).headers.get('content-type')).toContain('text/css');
  });
});

describe('health', () => {
  it('is told outside the API', async () => {
    const root = server.api.replace('/api/v1', '');
    expect((await fetch(`${root}/healthz`)).status).toBe(200);
    expect((await fetch(`${root}/readyz`)).status).toBe(200);
    expect(await (await fetch(`${root}/metrics`)).text()).toContain('swatch_gauge_measuring_seconds');
  });

  it('an address that is not there is a problem in words', async () => {
    const answer = await fetch(`${server.api}/nothing-here`);
    expect(answer.status).toBe(404);
    expect(answer.headers.get('content-type')).toContain('application/problem+json');
    expect(await answer.json()).toMatchObject({ code: 'not-found', title: expect.any(String) as string });
  });
});
