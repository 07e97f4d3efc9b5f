/** What leaves the house: the package, the container's recipe, the unit, and the list of what is in it. */
import { execFile, spawn, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, rm, symlink, writeFile } from 'node:fs/promises';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { validate } from 'dockerfile-utils';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { readConfig } from '../../server/config.ts';
import { SERVER } from '../../server/measuring/visionProcess.ts';
import { makeDataFolder, makeFolder } from './support.ts';

const run = promisify(execFile);
const ROOT = fileURLToPath(new URL('../../', import.meta.url));
const read = (path: string): Promise<string> => readFile(join(ROOT, path), 'utf8');

describe('the package', () => {
  let folder: string;
  let networkBytes = 0;
  let files: string[];
  let installed: string;
  beforeAll(async () => {
    folder = await makeFolder();
    await run(process.execPath, ['server/deploy/buildProgram.mjs'], { cwd: ROOT });
    const { stdout } = await run(
      'npm',
      ['pack', '--json', '--ignore-scripts', '--pack-destination', folder],
      { cwd: ROOT, maxBuffer: 1e8 },
    );
    const [pack] = JSON.parse(stdout) as [{ filename: string; files: { path: string; size: number }[] }];
    files = pack.files.map(({ path }) => path);
    networkBytes = pack.files
      .filter(({ path }) => path.endsWith('.onnx'))
      .reduce((bytes, { size }) => bytes + size, 0);
    // As npm lays it out, with what it needs beside it.
    const modules = join(folder, 'node_modules');
    installed = join(modules, packageJson.name);
    await mkdir(installed, { recursive: true });
    await run('tar', ['-xzf', join(folder, pack.filename), '-C', installed, '--strip-components=1']);
    for (const name of await readdir(join(ROOT, 'node_modules'))) {
      await symlink(join(ROOT, 'node_modules', name), join(modules, name));
    }
  });
  afterAll(() => rm(folder, { recursive: true, force: true }));

  it('holds the program, its page, samples, licence and manual, and nothing of the workshop', () => {
    for (const wanted of [
      'LICENSE',
      'README.md',
      'package.json',
      'server/bin.mjs',
      'dist/program/server.cli.js',
      'dist/program/server.measuring.visionTask.js',
      'vision/measurePhoto.ts',
    ]) {
      expect(files).toContain(wanted);
    }
    expect(files.filter((path) => path.endsWith('.onnx')).toSorted()).toEqual([
      'vision/lattice/model/octaves.onnx',
      'vision/lattice/model/reader.onnx',
      'vision/lattice/model/strands.onnx',
      'vision/piece/model/edges.onnx',
      'vision/sight/model/sight.onnx',
    ]);
    expect(files).toContain('fixtures/samples/hdc-swatch-card.jpg');
    expect(networkBytes).toBeLessThan(10_000_000);
    const rooms = new Set(files.filter((path) => path.includes('/')).map((path) => path.split('/')[0]));
    expect([...rooms].toSorted().filter((room) => room !== 'dist')).toEqual([
      'calc',
      'fixtures',
      'server',
      'vision',
    ]);
    expect(files.filter((path) => /\.test\.ts$|\.part$|^fixtures\/(?!samples\/)/.test(path))).toEqual([]);
    if (existsSync(join(ROOT, 'dist/web/index.html'))) expect(files).toContain('dist/web/index.html');
  });

  it('plans a piece and measures a photo where only it is installed', async () => {
    const spec = join(folder, 'spec.json');
    const gauge = { value: 14, standardUncertainty: 0.2 };
    await writeFile(
      spec,
      JSON.stringify({
        gauge: { stitchesPer10cm: gauge, rowsPer10cm: gauge },
        stitch: 'hdc',
        target: { widthMm: 1000, heightMm: 1000 },
      }),
    );
    const program = join(installed, 'server/bin.mjs');
    const { stdout } = await run(process.execPath, [program, 'plan', spec, '--json'], { cwd: folder });
    expect(JSON.parse(stdout)).toHaveProperty('finished');
    const sample = join(installed, 'fixtures/samples/hdc-swatch-card.jpg');
    const measured = await run(process.execPath, [program, 'measure', sample, '--stitch', 'hdc', '--json'], {
      cwd: folder,
      maxBuffer: 1e8,
    });
    expect(JSON.parse(measured.stdout)).toMatchObject({ status: 'ok' });
  });

  it('serves where only it is installed', async () => {
    const data = await makeDataFolder();
    const child = spawn(process.execPath, [join(installed, 'server/bin.mjs'), 'serve'], {
      cwd: folder,
      env: {
        ...process.env,
        PORT: '0',
        SWATCH_GAUGE_DATA: data,
        SWATCH_GAUGE_THREADS: '1',
        LOG_LEVEL: 'error',
      },
      stdio: ['ignore', 'pipe', 'inherit'],
    });
    try {
      const url = await new Promise<string>((resolve, reject) => {
        child.once('exit', (code) => reject(new Error(`it ended with ${code}`)));
        child.stdout.on('data', (chunk: Buffer) => {
          const at = /http:\/\/[^/\s]+/.exec(String(chunk));
          if (at) resolve(at[0]);
        });
      });
      expect((await fetch(`${url}/readyz`)).status).toBe(200);
      expect(((await (await fetch(`${url}/api/v1/samples`)).json()) as unknown[]).length).toBeGreaterThan(0);
      const page = await fetch(url);
      expect(page.status).toBe(files.includes('dist/web/index.html') ? 200 : 503);
    } finally {
      child.removeAllListeners('exit');
      const ended = new Promise((resolve) => child.once('exit', resolve));
      child.kill('SIGTERM');
      await ended;
      await rm(data, { recursive: true, force: true });
    }
  });
});

describe('the container’s recipe', () => {
  interface Instruction {
    name: string;
    rest: string;
  }
  let stages: Instruction[][];
  beforeAll(async () => {
    const text = await read('server/deploy/Containerfile');
    const lines = text
      .replaceAll(/^#.*\n/gm, '')
      .replaceAll(/\\\n\s*/g, ' ')
      .split('\n')
      .filter((line) => line.trim() !== '');
    stages = [];
    for (const line of lines) {
      const [, name, rest] = /^([A-Z]+) (.+)$/.exec(line) ?? [];
      expect(name, `not an instruction: ${line}`).toBeDefined();
      if (name === 'FROM') stages.push([]);
      stages.at(-1)!.push({ name: name!, rest: rest! });
    }
  });
  const all = (name: string, stage = stages.at(-1)!): string[] =>
    stage.filter((one) => one.name === name).map(({ rest }) => rest);

  it('has nothing that a linter of such files minds', async () => {
    const problems = validate(await read('server/deploy/Containerfile'));
    expect(problems.map(({ message, range }) => `line ${range.start.line + 1}: ${message}`)).toEqual([]);
    expect(validate('FROM a:1\nRUNN b\n')).toHaveLength(1); // it does look
  });

  it('names only what containers understand, and bases that are pinned to a release', () => {
    const known = /^(FROM|WORKDIR|COPY|RUN|ENV|VOLUME|USER|EXPOSE|STOPSIGNAL|HEALTHCHECK|ENTRYPOINT|CMD)$/;
    for (const { name } of stages.flat()) expect(name).toMatch(known); // ADD, which fetches, is not among them
    expect(stages.length).toBe(2);
    for (const stage of stages) {
      const image = all('FROM', stage)[0]!.split(' ')[0]!;
      expect(image).toMatch(/:\d+/);
      const major = Number(/:(\d+)/.exec(image)![1]);
      const [least] = packageJson.engines.node.match(/\d+/)!;
      expect(major).toBeGreaterThanOrEqual(Number(least));
    }
  });

  it('runs as an ordinary user who can write to the data only, and tells how it is', () => {
    const names = stages.at(-1)!.map(({ name }) => name);
    expect(all('USER')).toEqual(['node']);
    expect(names.indexOf('USER')).toBeLessThan(names.indexOf('ENTRYPOINT'));
    expect(names.slice(names.indexOf('USER')).includes('RUN')).toBe(false);
    expect(all('HEALTHCHECK')[0]).toMatch(/--interval=\d+s .*CMD \[.*\/readyz/);
    expect(all('VOLUME')).toEqual(['/data']);
    for (const kind of ['ENTRYPOINT', 'CMD']) {
      expect(JSON.parse(all(kind)[0]!)).toBeInstanceOf(Array); // no shell between: signals arrive
    }
    // As it is measured by the benches, and started by npm and systemd.
    expect(JSON.parse(all('ENTRYPOINT')[0]!)).toEqual(['node', ...SERVER, 'server/bin.mjs']);
    expect(packageJson.scripts.serve).toBe(`node ${SERVER.join(' ')} server/bin.mjs serve`);
    expect(JSON.parse(all('HEALTHCHECK')[0]!.replace(/^.*?CMD /, ''))).toHaveLength(3);
  });

  it('copies what is there, all of it that the program needs, and no secret', () => {
    const copied = all('COPY', stages[0]).flatMap((rest) => rest.split(' ').slice(0, -1));
    for (const path of copied) expect(existsSync(join(ROOT, path)), path).toBe(true);
    const shipped = packageJson.files
      .filter((path) => path !== 'dist/program') // built there of the others
      .map((path) => path.replace(/\/\*.*|^dist\//g, ''))
      .filter((p) => !p.includes('.'));
    for (const path of shipped) expect(copied).toContain(path);
    expect(
      stages
        .flat()
        .map(({ rest }) => rest)
        .join('\n'),
    ).not.toMatch(/SECRET|PASSWORD|_KEY/);
  });

  it('sets only what the program reads, so that it starts when told its address', () => {
    const settings = Object.fromEntries(
      all('ENV')
        .join(' ')
        .split(/\s+/)
        .map((pair) => pair.split('=') as [string, string]),
    );
    const config = readConfig({ ...settings, SWATCH_GAUGE_HOSTED: 'https://gauge.example' });
    expect(config).toMatchObject({ host: '0.0.0.0', port: 4173, dataFolder: '/data' });
    expect(all('EXPOSE')).toEqual([settings.PORT]);
  });
});

describe('the unit', () => {
  const path = 'server/deploy/swatch-gauge.service';

  it('starts the program, gives it a folder of its own and nothing else, and time to stop', async () => {
    const text = await read(path);
    expect(text).toMatch(
      /^ExecStart=\S+ --single-threaded-gc --no-incremental-marking \/opt\/swatch-gauge\/(server\/bin\.mjs) serve$/m,
    );
    expect(text).toMatch(/^StateDirectory=swatch-gauge$/m);
    expect(text).toMatch(/^Environment=SWATCH_GAUGE_DATA=\/var\/lib\/swatch-gauge$/m);
    for (const line of [
      'DynamicUser=yes',
      'ProtectSystem=strict',
      'NoNewPrivileges=yes',
      'ProtectHome=yes',
    ]) {
      expect(text.split('\n')).toContain(line);
    }
    expect(Number(/^TimeoutStopSec=(\d+)$/m.exec(text)![1])).toBeGreaterThan(15);
  });

  it('is one that systemd understands', async ({ skip }) => {
    if (spawnSync('systemd-analyze', ['--version']).status !== 0) skip('systemd is not installed here');
    const folder = await makeFolder();
    const unit = join(folder, 'swatch-gauge.service');
    // The same unit for a program that is there.
    await writeFile(
      unit,
      (await read(path))
        .replace(/^ExecStart=.*$/m, 'ExecStart=/bin/true')
        .replace(/^WorkingDirectory=.*$/m, ''),
    );
    const { stderr, status } = spawnSync('systemd-analyze', ['verify', '--man=no', unit], {
      encoding: 'utf8',
    });
    const ours = stderr.split('\n').filter((line) => line.includes('swatch-gauge'));
    expect(ours).toEqual([]);
    expect(status).toBe(0);
    await rm(folder, { recursive: true, force: true });
  });
});

describe('the proxy’s settings', () => {
  it('are such that nginx understands them', async ({ skip }) => {
    if (spawnSync('nginx', ['-v']).status !== 0) skip('nginx is not installed here');
    const folder = await makeFolder();
    const [cert, key, shared] = ['cert.pem', 'key.pem', 'proxy.conf'].map((name) => join(folder, name));
    const made = spawnSync('openssl', [
      ...['req', '-x509', '-newkey', 'rsa:2048', '-nodes', '-days', '1', '-subj', '/CN=gauge.example'],
      ...['-keyout', key!, '-out', cert!],
    ]);
    if (made.status !== 0) skip('openssl is not installed here');
    const text = await read('server/deploy/nginx.conf');
    const [servers, proxy] = text.split(/^# \/etc\/nginx\/swatch-gauge-proxy\.conf:$/m) as [string, string];
    await writeFile(shared!, proxy.replaceAll(/^# {3}/gm, ''));
    const here = servers
      .replaceAll('/etc/nginx/swatch-gauge-proxy.conf', shared!)
      .replaceAll(/\S+fullchain\.pem/g, cert!)
      .replaceAll(/\S+privkey\.pem/g, key!);
    const all = join(folder, 'nginx.conf');
    await writeFile(all, `pid ${join(folder, 'pid')};\nevents {}\nhttp {\naccess_log off;\n${here}\n}\n`);
    const { status, stderr } = spawnSync('nginx', ['-t', '-c', all, '-e', join(folder, 'log')], {
      encoding: 'utf8',
    });
    expect({ status, stderr }).toMatchObject({
      status: 0,
      stderr: expect.stringContaining('successful') as string,
    });
    await rm(folder, { recursive: true, force: true });
  });
});

describe('the list of what is in it', () => {
  it('is CycloneDX and has every package that the program names, each with its licence', async () => {
    const { stdout } = await run('npm', ['run', '--silent', 'sbom'], { cwd: ROOT, maxBuffer: 1e8 });
    const bom = JSON.parse(stdout) as {
      bomFormat: string;
      components: {
        name: string;
        licenses?: unknown[];
        properties: { name: string; value: string }[];
      }[];
    };
    expect(bom.bomFormat).toBe('CycloneDX');
    const names = bom.components.map(({ name }) => name);
    for (const name of Object.keys(packageJson.dependencies)) expect(names).toContain(name);
    // Those of the workshop only are marked as such.
    const eslint = bom.components.find(({ name }) => name === 'eslint')!;
    expect(eslint.properties.map(({ name }) => name)).toContain('cdx:npm:package:development');
    const unlicensed = bom.components.filter(({ licenses }) => !licenses?.length).map(({ name }) => name);
    expect(unlicensed).toEqual([]);
  });
});

describe('the look at known weaknesses', () => {
  const clean = { auditReportVersion: 2, vulnerabilities: {}, metadata: { vulnerabilities: { total: 0 } } };
  const weak = {
    auditReportVersion: 2,
    vulnerabilities: { oldlib: { severity: 'low' } },
    metadata: { vulnerabilities: { total: 1 } },
  };
  it.each([
    ['passes when nothing is known', clean, 0, 'nothing known'],
    ['fails for any weakness, however small', weak, 1, 'oldlib: low'],
    ['passes, saying so, when the registry does not answer', { statusCode: 405 }, 0, 'NOT CHECKED'],
    ['passes, saying so, without a network', { error: { code: 'ENOTFOUND' } }, 0, 'NOT CHECKED'],
    ['fails when it could not look for another reason', { error: { code: 'ENOLOCK' } }, 1, 'failed'],
    ['fails when it said nothing', '', 1, 'no report'],
  ])('%s', async (_what, report, code, says) => {
    const folder = await makeFolder();
    const text = typeof report === 'string' ? report : JSON.stringify(report);
    // Stands in front of the real npm.
    await writeFile(join(folder, 'npm'), `#!/bin/sh\ncat <<'END'\n${text}\nEND\n`, { mode: 0o755 });
    const { status, stdout, stderr } = spawnSync(process.execPath, [join(ROOT, '.ci/audit.mjs')], {
      encoding: 'utf8',
      env: { ...process.env, PATH: `${folder}:${process.env.PATH}` },
    });
    expect({ status, said: stdout + stderr }).toEqual({
      status: code,
      said: expect.stringContaining(says) as string,
    });
    await rm(folder, { recursive: true, force: true });
  });

  /** A registry that answers npm’s question for weaknesses. */
  async function askRegistryThatKnows(
    advisories: object,
  ): Promise<{ code: number; said: string; asked: string[] }> {
    const asked: string[] = [];
    const registry = createServer((request, response) => {
      asked.push(`${request.method} ${request.url}`);
      const name = decodeURIComponent(request.url!.slice(1));
      const answer = name.endsWith('/advisories/bulk') ? advisories : packageNamed(name);
      request.resume().on('end', () => {
        response.setHeader('Content-Type', 'application/json');
        response.end(JSON.stringify(answer));
      });
    });
    await new Promise<void>((resolve) => registry.listen(0, '127.0.0.1', resolve));
    const cache = await makeFolder();
    const env = {
      ...process.env,
      npm_config_registry: `http://127.0.0.1:${(registry.address() as AddressInfo).port}/`,
      npm_config_cache: cache,
    };
    const outcome = await run(process.execPath, [join(ROOT, '.ci/audit.mjs')], { cwd: ROOT, env }).then(
      ({ stdout, stderr }) => ({ code: 0, said: stdout + stderr }),
      ({ code, stdout, stderr }: { code: number; stdout: string; stderr: string }) => ({
        code,
        said: stdout + stderr,
      }),
    );
    registry.close();
    await rm(cache, { recursive: true, force: true });
    return { ...outcome, asked };
  }
  /** npm also asks which packages would be free of the weakness. */
  const packageNamed = (name: string) => ({
    name,
    'dist-tags': { latest: '99.0.0' },
    versions: { '99.0.0': { name, version: '99.0.0' } },
  });
  const weakness = {
    id: 1,
    url: 'https://advisories.example/1',
    title: 'It says yes to everything',
    severity: 'high',
    vulnerable_versions: '<99',
    cwe: [],
    cvss: { score: 0, vectorString: null },
  };

  it('asks a registry that answers, by npm itself, and passes when it knows of nothing', async () => {
    const { code, said, asked } = await askRegistryThatKnows({});
    expect({ code, said }).toEqual({
      code: 0,
      said: 'npm audit: nothing known against what is installed.\n',
    });
    expect(asked).toContain('POST /-/npm/v1/security/advisories/bulk');
  });

  it('asks a registry that answers, and fails naming what it knows of', async () => {
    const { code, said } = await askRegistryThatKnows({ zod: [weakness] });
    expect(code).toBe(1);
    expect(said).toContain('zod: high');
  });
});
