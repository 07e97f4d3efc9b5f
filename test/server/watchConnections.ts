/**
 * Writes down every connection and every name lookup of this process (a line each, to the file named by
 * `SWATCH_GAUGE_TEST_CONNECTIONS`). Imported by the test's own process and by those that measure alike.
 */
import dgram from 'node:dgram';
import dns from 'node:dns';
import { appendFileSync } from 'node:fs';
import net from 'node:net';

const note = (what: string): void => appendFileSync(process.env.SWATCH_GAUGE_TEST_CONNECTIONS!, `${what}\n`);

const connect = net.Socket.prototype.connect as (...args: unknown[]) => net.Socket;
net.Socket.prototype.connect = function (this: net.Socket, ...args: unknown[]) {
  // (options), (port, host), (path), or node's own normalised array of these
  const first = Array.isArray(args[0]) ? (args[0] as unknown[])[0] : args[0];
  const { host, path } = (typeof first === 'object' && first !== null ? first : { host: args[1] }) as {
    host?: unknown;
    path?: unknown;
  };
  note(`connect ${String(path ?? host ?? 'localhost')}`);
  return connect.apply(this, args);
} as typeof net.Socket.prototype.connect;

const lookup = dns.lookup as (...args: unknown[]) => void;
Object.assign(dns, {
  lookup: (...args: unknown[]) => {
    note(`lookup ${String(args[0])}`);
    return lookup(...args);
  },
});
const send = dgram.Socket.prototype.send as (...args: unknown[]) => void;
dgram.Socket.prototype.send = function (this: dgram.Socket, ...args: unknown[]) {
  note('datagram');
  return send.apply(this, args);
} as typeof dgram.Socket.prototype.send;
