import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { Logger } from 'pino';
import { isLoopbackAddress } from './access.ts';
import { openAccounts } from './accounts/openAccounts.ts';
import { signInSecret } from './accounts/signInSecret.ts';
import { createApp, type AppOptions } from './app.ts';
import { ConfigError, isLoopbackName, type Config } from './config.ts';
import { layOutSample } from './pieces/layOutSample.ts';
import { openServices, type Services } from './services.ts';

export interface RunningServer {
  port: number;
  services: Services;
  /** Takes no more requests, lets those under way finish, then closes everything. */
  stop(): Promise<void>;
}

const DEFAULT_PORT = 4173;
const KEEP_ALIVE_MS = 65_000;

/**
 * Opens everything and listens.
 *
 * @throws ConfigError when others could reach it without having to say who they are
 * @throws StorageError; the system's error when the port is taken or forbidden
 * @example
 * const server = await startServer(readConfig(), { log: pino() });
 * console.log(`http://127.0.0.1:${server.port}/`);
 */
export async function startServer(
  config: Config,
  options: {
    log: Logger;
    takesJobs?: boolean;
    visionTaskFile?: string;
    /** Whether a maker who has nothing here yet finds a sample piece. */
    withSamplePiece?: boolean;
  } & Partial<AppOptions>,
): Promise<RunningServer> {
  refuseOpenDoor(config, options.shared ?? false);
  const services = await openServices(config, options);
  let port = 0;
  let app: ReturnType<typeof createApp>;
  try {
    const accounts = config.hostedAt
      ? await openAccounts(services.database.db, {
          address: config.hostedAt,
          secret: await signInSecret(config),
        })
      : null;
    app = createApp(services, { shared: false, ...options, accounts, port: () => port });
  } catch (error) {
    await services.close();
    throw error;
  }
  const server = createServer({ requestTimeout: 120_000, headersTimeout: 20_000 }, app);
  server.maxHeadersCount = 100;
  // Longer than proxies and clients keep a connection that rests: whoever lets go first must not be us.
  server.keepAliveTimeout = KEEP_ALIVE_MS;
  try {
    port = await listen(server, config);
  } catch (error) {
    await services.close();
    throw error;
  }
  // After everything else, and behind whatever photo comes first; accounts begin empty.
  if (options.withSamplePiece && config.hostedAt === null) {
    layOutSample(services, options.samplesFolder).catch((error: unknown) => {
      if (!services.stopping.aborted)
        options.log.warn({ err: error }, 'the sample piece could not be laid out');
    });
  }
  return {
    port,
    services,
    async stop() {
      services.stop();
      const closed = new Promise<void>((resolve) => server.close(() => resolve()));
      server.closeIdleConnections();
      const impatient = setTimeout(() => server.closeAllConnections(), 5000);
      await closed;
      clearTimeout(impatient);
      await services.close();
    },
  };
}

/** What others can reach, they must sign in to, or be paired with. */
function refuseOpenDoor({ host, hostedAt }: Config, shared: boolean): void {
  if (isLoopbackAddress(host) || isLoopbackName(host) || hostedAt !== null || shared) return;
  throw new ConfigError(
    'The setting HOST cannot be used: others could reach the program there. ' +
      'Start it with --share to pair phones, or set SWATCH_GAUGE_HOSTED so that everybody signs in.',
  );
}

/** On the port asked for; without one on the usual port, or any free one when that is taken. */
async function listen(server: Server, { host, port }: Config): Promise<number> {
  const tryPort = (wanted: number): Promise<number> =>
    new Promise((resolve, reject) => {
      server.once('error', reject);
      server.listen(wanted, host, () => {
        server.off('error', reject);
        resolve((server.address() as AddressInfo).port);
      });
    });
  if (port !== null) return await tryPort(port);
  try {
    return await tryPort(DEFAULT_PORT);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'EADDRINUSE') throw error;
    return await tryPort(0);
  }
}
