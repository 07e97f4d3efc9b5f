import type { Express } from 'express';
import type { RunningServer } from '../../server/startServer.ts';
import { createApp } from '../../server/app.ts';

export interface Route {
  method: string;
  /** With parameters as express writes them: `/api/v1/pieces/:id`. */
  path: string;
}

interface Layer {
  route?: { path: string | string[]; methods: Record<string, boolean> };
  handle: { stack?: Layer[] };
  slash: boolean;
  match(path: string): boolean;
}

/** Where routers are mounted; a router found anywhere else stops the tests until it is named here. */
const MOUNTS = ['/api/v1'];

/** Every route that the server really has, read from its router: one that is added cannot be forgotten. */
export function everyRoute(server: RunningServer): Route[] {
  const app: Express = createApp(server.services, { shared: false, port: () => 0 });
  const routes = routesIn((app.router as unknown as { stack: Layer[] }).stack, '');
  if (routes.length < 30) throw new Error('the router could not be read');
  return routes;
}

function routesIn(stack: Layer[], mount: string): Route[] {
  return stack.flatMap((layer): Route[] => {
    if (layer.route) {
      const { path, methods } = layer.route;
      return [path]
        .flat()
        .flatMap((one) =>
          Object.keys(methods).map((method) => ({ method: method.toUpperCase(), path: mount + one })),
        );
    }
    if (!layer.handle.stack) return [];
    const at = layer.slash ? '' : MOUNTS.find((known) => layer.match(`${known}/x`));
    if (at === undefined) throw new Error('a router is mounted where these tests do not look');
    return routesIn(layer.handle.stack, mount + at);
  });
}

export const NOBODY = '8dcf64c4-273f-4dbc-8a25-3ea6031b71cf';

/** The route's address with the given ids, or made-up ones, in place of its parameters. */
export const addressOf = ({ path }: Route, ids: Record<string, string> = {}): string =>
  path.replaceAll(/:(\w+)/g, (_, name: string) => ids[name] ?? NOBODY);
