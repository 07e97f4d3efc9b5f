import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import express, { type Express, type RequestHandler } from 'express';
import { ipKeyGenerator, rateLimit } from 'express-rate-limit';
import helmet from 'helmet';
import { planPiece, type PlanSpec } from '../calc/index.ts';
import { sheetPdf } from '../vision/scale/drawSheet.ts';
import packageJson from '../package.json' with { type: 'json' };
import { identify, requireOperator, requireOwnPage, requireVisitor, type Visitor } from './access.ts';
import { hasOneTimePassword } from './accounts/oneTimePassword.ts';
import type { Accounts } from './accounts/openAccounts.ts';
import { answerWithProblem } from './api/answerWithProblem.ts';
import { ProblemError } from './api/problem.ts';
import { refuseOddJson } from './api/refuseOddJson.ts';
import { measuringSheetQuerySchema, type Session } from './api/schemas.ts';
import { accountRoutes } from './routes/accounts.ts';
import { documentationRoutes } from './routes/documentation.ts';
import { measurementRoutes } from './routes/measurements.ts';
import { pairingRoutes } from './routes/pairings.ts';
import { photoRoutes } from './routes/photos.ts';
import { pieceRoutes } from './routes/pieces.ts';
import { sampleRoutes } from './routes/samples.ts';
import { statusRoutes } from './routes/status.ts';
import type { Services } from './services.ts';

const PAGE_FOLDER = fileURLToPath(new URL('../dist/web/', import.meta.url));
/** Requests a minute from one address or account; the computer itself is not limited. */
const REQUESTS_PER_MINUTE = 600;

export interface AppOptions {
  /** Phones on the home network may be paired. */
  shared: boolean;
  /** Of a hosted server: everybody signs in. */
  accounts?: Accounts | null;
  /** Where the server listens, once it does. */
  port: () => number;
  pageFolder?: string;
  samplesFolder?: string;
}

/**
 * The whole HTTP side: page, API, health and metrics. Nothing here computes; it checks what comes in, asks
 * storage, jobs or `calc`, and answers.
 */
export function createApp(services: Services, options: AppOptions): Express {
  const app = express();
  app.disable('x-powered-by');
  // Only a proxy on this machine or its private network is believed about who is asking.
  if (options.accounts) app.set('trust proxy', ['loopback', 'linklocal', 'uniquelocal']);
  app.use(helmet(SECURITY));
  app.use(measureRequests(services));

  app.use(statusRoutes(services, identify(services, options.accounts ?? null), requireOperator));

  app.use('/api/v1', apiRoutes(services, options));
  app.use('/api', () => {
    throw new ProblemError('not-found');
  });
  servePage(app, options.pageFolder ?? PAGE_FOLDER);
  app.use((): void => {
    throw new ProblemError('not-found');
  });
  app.use(answerWithProblem(services));
  return app;
}

function apiRoutes(services: Services, options: AppOptions): express.Router {
  const { config } = services;
  const accounts = options.accounts ?? null;
  const api = express.Router();
  api.use((_req, res, next) => {
    res.set('Cache-Control', 'no-store'); // pictures set their own
    next();
  });
  api.use(identify(services, accounts));
  api.use(
    rateLimit({
      windowMs: 60_000,
      limit: REQUESTS_PER_MINUTE,
      standardHeaders: 'draft-8',
      legacyHeaders: false,
      skip: (_req, res) => (res.locals as { visitor?: Visitor }).visitor?.isHost ?? false,
      keyGenerator: (req, res) =>
        (res.locals as { visitor?: Visitor }).visitor?.account?.id ?? ipKeyGenerator(req.ip ?? ''),
      handler: () => {
        throw new ProblemError('too-many-requests', { retryAfterSeconds: 60 });
      },
    }),
  );
  api.use(requireOwnPage(accounts ? config.hostedAt : null));
  api.use(express.json({ limit: '2mb', strict: true }));
  api.use(refuseOddJson);

  api.get('/session', async (_req, res) => {
    const { visitor } = res.locals as { visitor?: Visitor };
    const account = visitor?.account;
    const passwordIsOneTime =
      account !== undefined && (await hasOneTimePassword(services.database.db, account.id));
    const session: Session = {
      version: packageJson.version,
      mode: accounts ? 'hosted' : options.shared ? 'network' : 'local',
      isHost: visitor?.isHost ?? false,
      account: account ? { name: account.name, ...(passwordIsOneTime ? { passwordIsOneTime } : {}) } : null,
      invitationNeeded: accounts !== null && config.invitation !== null,
      limits: {
        photoBytes: config.largestPhotoBytes,
        photoMegapixels: config.largestPhotoMegapixels,
        pieceFileBytes: config.largestPieceFileBytes,
      },
    };
    res.json(session);
  });
  api.use(documentationRoutes());
  api.use(pairingRoutes(services, options));
  api.use(accountRoutes(services, accounts));

  // Everything below is for the computer itself and its paired phones, or for those who are signed in.
  api.use(requireVisitor);
  api.use(photoRoutes(services));
  api.use(sampleRoutes(services, options.samplesFolder));
  api.use(measurementRoutes(services));
  api.use(pieceRoutes(services));
  api.post('/plans', (req, res) => {
    res.json(planPiece(req.body as PlanSpec)); // calc checks every field itself and names the one at fault
  });
  api.get('/measuring-sheet.pdf', async (req, res) => {
    const { page } = measuringSheetQuerySchema.parse(req.query);
    const pdf = await sheetPdf(page);
    res.attachment(`measuring-sheet-${page}.pdf`).type('application/pdf').send(Buffer.from(pdf));
  });
  return api;
}

/** No inline script or style, nothing from elsewhere; pictures may also come from memory. */
const SECURITY: Parameters<typeof helmet>[0] = {
  contentSecurityPolicy: {
    useDefaults: false,
    directives: {
      defaultSrc: ["'none'"],
      scriptSrc: ["'self'"],
      styleSrc: ["'self'"],
      imgSrc: ["'self'", 'blob:', 'data:'],
      fontSrc: ["'self'"],
      connectSrc: ["'self'"],
      workerSrc: ["'self'"],
      manifestSrc: ["'self'"],
      mediaSrc: ["'self'", 'blob:'],
      formAction: ["'self'"],
      frameAncestors: ["'none'"],
      baseUri: ["'none'"],
    },
  },
  // A loopback or home-network address has no certificate; the proxy of a hosted server adds this itself.
  strictTransportSecurity: false,
  referrerPolicy: { policy: 'no-referrer' },
  crossOriginResourcePolicy: { policy: 'same-origin' },
};

function servePage(app: Express, folder: string): void {
  // Built files carry their content's hash in their name; the page itself must always be asked for.
  app.use(
    '/assets',
    express.static(join(folder, 'assets'), { immutable: true, maxAge: '1y', fallthrough: false }),
  );
  app.use(
    express.static(folder, {
      index: 'index.html',
      setHeaders: (res) => res.set('Cache-Control', 'no-cache'),
    }),
  );
  app.get('/', (_req, res, next) => {
    if (existsSync(join(folder, 'index.html'))) return next();
    res.status(503).type('text').send('The page has not been built yet: run "npm run build" first.\n');
  });
}

/** Counts and logs each request by its route's pattern: addresses hold ids, and bodies are nobody's business. */
function measureRequests({ metrics, log }: Services): RequestHandler {
  return (req, res, next) => {
    const startedMs = performance.now();
    res.once('finish', () => {
      const seconds = (performance.now() - startedMs) / 1000;
      const pattern: unknown = (req.route as { path?: unknown } | undefined)?.path;
      // On the way out of a failed request express has forgotten where its router was mounted.
      const base = req.originalUrl.startsWith('/api/v1/') ? '/api/v1' : '';
      const route = typeof pattern === 'string' ? `${base}${pattern}` : 'other';
      const labels = { method: req.method, route, status: String(res.statusCode) };
      metrics.requestSeconds.observe(labels, seconds);
      log.info({ ...labels, ms: Math.round(seconds * 1000) }, 'request');
    });
    next();
  };
}
