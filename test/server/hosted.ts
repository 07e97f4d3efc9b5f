import { OWN, startTestServer, type TestServer } from './support.ts';

/** Where makers would reach the server: through a proxy that holds the certificate. */
export const HOSTED_AT = 'https://gauge.example';

export interface Maker {
  name: string;
  cookie: string;
  send(method: string, path: string, body?: unknown, headers?: Record<string, string>): Promise<Response>;
  upload(path: string, field: string, bytes: Uint8Array): Promise<Response>;
}

export interface HostedServer extends TestServer {
  /** Makes an account and signs in. */
  join(name: string, password?: string): Promise<Maker>;
  /** Someone with this `Cookie` header, or nobody. */
  someone(cookie?: string): Maker;
}

export const PASSWORD = 'seven grey herons';

export async function startHostedServer(
  options: Parameters<typeof startTestServer>[0] = {},
): Promise<HostedServer> {
  const server = await startTestServer({
    takesJobs: false,
    ...options,
    environment: { SWATCH_GAUGE_HOSTED: HOSTED_AT, ...options.environment },
  });
  let joined = 0;
  const someone = (cookie = '', name = ''): Maker => {
    const own = { ...OWN, ...(cookie ? { cookie } : {}), 'x-forwarded-for': '198.51.100.7' };
    return {
      name,
      cookie,
      send: (method, path, body, headers = {}) =>
        fetch(server.api + path, {
          method,
          headers: {
            ...own,
            ...(body === undefined ? {} : { 'Content-Type': 'application/json' }),
            ...headers,
          },
          ...(body === undefined ? {} : { body: JSON.stringify(body) }),
        }),
      upload: (path, field, bytes) => {
        const form = new FormData();
        form.set(field, new Blob([bytes as BlobPart]), 'a.jpg');
        return fetch(server.api + path, { method: 'POST', headers: own, body: form });
      },
    };
  };
  return {
    ...server,
    someone,
    async join(name, password = PASSWORD) {
      const from = { 'x-forwarded-for': `198.51.100.${++joined % 250}` }; // each from her own home
      const answer = await someone().send('POST', '/account', { name, password }, from);
      if (answer.status !== 201) throw new Error(`join: ${answer.status} ${await answer.text()}`);
      return someone(cookieIn(answer), name);
    },
  };
}

/** The cookies that an answer sets, as a browser sends them back. */
export const cookieIn = (answer: Response): string =>
  answer.headers
    .getSetCookie()
    .map((line) => line.split(';')[0]!)
    .filter((pair) => !pair.endsWith('='))
    .join('; ');
