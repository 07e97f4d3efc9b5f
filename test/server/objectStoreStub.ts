import { createHash, createHmac, timingSafeEqual } from 'node:crypto';
import { createServer, type IncomingMessage } from 'node:http';
import type { AddressInfo } from 'node:net';

export const KEYS = { keyId: 'MAKERSKEYID', key: 'a-key-that-only-tests-know' };

export interface ObjectStoreStub {
  /** With the bucket. */
  url: string;
  objects: Map<string, { bytes: Buffer; at: Date }>;
  /** Requests seen, with the status that each was answered with. */
  seen: { method: string; path: string; status: number }[];
  /** Next requests are answered with this status instead. */
  troubles: number[];
  stop(): Promise<void>;
}

/**
 * A bucket in this process, strict about what a client of the published protocol owes it: the signature
 * (“Authenticating Requests: Using the Authorization Header, AWS Signature Version 4”, Amazon S3 API Reference),
 * its age, the announced length and checksum. Answers lists as ListObjectsV2 does, a few keys at a time.
 */
export async function startObjectStoreStub(options: { pageSize?: number } = {}): Promise<ObjectStoreStub> {
  const { pageSize = 3 } = options;
  const objects: ObjectStoreStub['objects'] = new Map();
  const seen: ObjectStoreStub['seen'] = [];
  const troubles: number[] = [];

  const answer = (req: IncomingMessage, body: Buffer): { status: number; body?: Buffer | string } => {
    const trouble = troubles.shift();
    if (trouble !== undefined) return { status: trouble, body: error('Trouble') };
    if (!isSigned(req, KEYS)) return { status: 403, body: error('SignatureDoesNotMatch') };
    const url = new URL(req.url!, 'http://stub');
    const [, bucket, ...rest] = url.pathname.split('/');
    if (bucket !== 'swatches') return { status: 404, body: error('NoSuchBucket') };
    const key = decodeURIComponent(rest.join('/'));
    if (req.method === 'GET' && key === '') return { status: 200, body: list(url.searchParams) };
    if (req.method === 'PUT') {
      if (Number(req.headers['content-length']) !== body.length)
        return { status: 400, body: error('IncompleteBody') };
      const checksum = createHash('sha256').update(body).digest('base64');
      if (req.headers['x-amz-checksum-sha256'] !== checksum) return { status: 400, body: error('BadDigest') };
      objects.set(key, { bytes: body, at: new Date() });
      return { status: 200 };
    }
    if (req.method === 'DELETE') {
      objects.delete(key);
      return { status: 204 };
    }
    const found = objects.get(key);
    return found ? { status: 200, body: found.bytes } : { status: 404, body: error('NoSuchKey') };
  };

  const list = (query: URLSearchParams): string => {
    const after = query.get('continuation-token') ?? '';
    const most = Math.min(pageSize, Number(query.get('max-keys') ?? 1000));
    const all = [...objects.keys()].filter((key) => key.startsWith(query.get('prefix') ?? '')).toSorted();
    const page = all.filter((key) => key > after).slice(0, most);
    const isTruncated = page.length > 0 && page.at(-1) !== all.at(-1);
    const contents = page.map((key) => {
      const { bytes, at } = objects.get(key)!;
      return `<Contents><Key>${key}</Key><LastModified>${at.toISOString()}</LastModified><ETag>"x"</ETag><Size>${bytes.length}</Size></Contents>`;
    });
    const next = isTruncated ? `<NextContinuationToken>${page.at(-1)}</NextContinuationToken>` : '';
    return `<?xml version="1.0"?><ListBucketResult><Name>swatches</Name><KeyCount>${page.length}</KeyCount><IsTruncated>${isTruncated}</IsTruncated>${contents.join('')}${next}</ListBucketResult>`;
  };

  const server = createServer((req, res) => {
    const chunks: Buffer[] = [];
    req.on('data', (chunk: Buffer) => chunks.push(chunk));
    req.on('error', () => {}); // cut off: nothing is kept
    req.on('end', () => {
      const { status, body } = answer(req, Buffer.concat(chunks));
      seen.push({ method: req.method!, path: req.url!, status });
      res.writeHead(
        status,
        body === undefined || Buffer.isBuffer(body) ? {} : { 'content-type': 'application/xml' },
      );
      res.end(body);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}/swatches`,
    objects,
    seen,
    troubles,
    stop: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

const error = (code: string): string => `<?xml version="1.0"?><Error><Code>${code}</Code></Error>`;

/** How far a request's clock may be off. */
const SKEW_MS = 15 * 60_000;

function isSigned(req: IncomingMessage, keys: typeof KEYS): boolean {
  const parts =
    /^AWS4-HMAC-SHA256 Credential=([^/]+)\/([^,]+), SignedHeaders=([^,]+), Signature=([0-9a-f]{64})$/.exec(
      req.headers.authorization ?? '',
    );
  if (!parts) return false;
  const [, keyId, scope, signedHeaders, signature] = parts as unknown as [
    string,
    string,
    string,
    string,
    string,
  ];
  if (keyId !== keys.keyId) return false;
  const names = signedHeaders.split(';');
  // What must be signed: the host, and every x-amz- header that is there.
  const owed = ['host', ...Object.keys(req.headers).filter((name) => name.startsWith('x-amz-'))];
  if (!owed.every((name) => names.includes(name))) return false;
  const when = String(req.headers['x-amz-date']);
  const at = Date.parse(when.replace(/^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)Z$/, '$1-$2-$3T$4:$5:$6Z'));
  if (!(Math.abs(Date.now() - at) < SKEW_MS)) return false;
  const expected = signatureOf(
    {
      method: req.method!,
      url: new URL(req.url!, 'http://stub'),
      headers: names.map((name) => [name, String(req.headers[name])]),
      payloadHash: String(req.headers['x-amz-content-sha256']),
      when,
      scope,
    },
    keys.key,
  );
  return timingSafeEqual(Buffer.from(expected), Buffer.from(signature));
}

/** The signature of a request, step by step as the API reference tells it. */
export function signatureOf(
  request: {
    method: string;
    url: URL;
    headers: [name: string, value: string][];
    payloadHash: string;
    when: string;
    /** `20130524/us-east-1/s3/aws4_request` */
    scope: string;
  },
  key: string,
): string {
  const hmac = (secret: string | Buffer, text: string): Buffer =>
    createHmac('sha256', secret).update(text).digest();
  const query = [...request.url.searchParams]
    .map(([name, value]) => `${encodeURIComponent(name)}=${encodeURIComponent(value)}`)
    .toSorted()
    .join('&');
  const sorted = request.headers.toSorted(([one], [other]) => (one < other ? -1 : 1));
  const canonical = [
    request.method,
    request.url.pathname,
    query,
    ...sorted.map(([name, value]) => `${name}:${value.trim()}`),
    '',
    sorted.map(([name]) => name).join(';'),
    request.payloadHash,
  ].join('\n');
  const hash = createHash('sha256').update(canonical).digest('hex');
  const toSign = ['AWS4-HMAC-SHA256', request.when, request.scope, hash].join('\n');
  const signingKey = request.scope
    .split('/')
    .reduce<string | Buffer>((secret, part) => hmac(secret, part), `AWS4${key}`);
  return hmac(signingKey, toSign).toString('hex');
}
