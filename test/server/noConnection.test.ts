/**
 * Native code (image libraries, the network's runtime) could connect without Node's knowing. In a network namespace of
 * its own the kernel counts every packet and every attempt that finds no way out, whoever makes it: `OutNoRoutes` and
 * `OutRequests` of `/proc/net/snmp` (RFC 4293, ipSystemStatsOutNoRoutes and ipSystemStatsOutRequests).
 */
import { execFile, spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { describe, expect, it } from 'vitest';

const execute = promisify(execFile);
const pathOf = (name: string): string => fileURLToPath(new URL(name, import.meta.url));
const canUnshare = spawnSync('unshare', ['-rn', 'true']).status === 0;

/** Runs Node where there is no network, and says what was tried all the same. */
async function attemptsOf(args: string[]): Promise<{ output: string; attempts: number }> {
  const script = '"$0" "$@"; echo; cat /proc/net/snmp';
  const { stdout } = await execute('unshare', ['-rn', 'sh', '-c', script, process.execPath, ...args], {
    maxBuffer: 1e8,
  });
  const [names, values] = [...stdout.matchAll(/^Ip: (.*)$/gm)].map((match) => match[1]!.split(' '));
  const count = (name: string): number => Number(values![names!.indexOf(name)]);
  return { output: stdout, attempts: count('OutNoRoutes') + count('OutRequests') };
}

describe.runIf(canUnshare)('with the network watched by the kernel', () => {
  it.each([
    ['an address', "fetch('http://192.0.2.1').catch(() => {})"],
    ['a name', "fetch('http://gauge.example').catch(() => {})"],
  ])('whoever asks for %s is seen', async (_what, code) => {
    expect((await attemptsOf(['-e', code])).attempts).toBeGreaterThan(0);
  });

  it('a photo is measured without one attempt', async () => {
    const sample = pathOf('../../fixtures/samples/hdc-swatch-card.jpg');
    const cli = pathOf('../../server/cli.ts');
    const { output, attempts } = await attemptsOf(['--import', 'tsx', cli, 'measure', sample, '--json']);
    expect(output).toContain('"status":"ok"');
    expect(attempts).toBe(0);
  });
});
