/**
 * `npm run bench -- kernels [--times N] [--also FOLDER]`: the same work on the same grey picture of 3 megapixels by
 * OpenCV compiled to WebAssembly, which `vision` uses, and by libvips through sharp, which reads and shrinks photos;
 * as multiples of the former, within this run. FOLDER is one where `@opencvjs/web` (a newer OpenCV) or `wasm-vips`
 * (libvips as WebAssembly with SIMD) was installed, to be measured beside them.
 *
 * Each turn takes every library once, so that other work on this machine hits all alike; the fastest turn counts.
 */
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';
import cvmod from 'opencv-wasm';
import sharp from 'sharp';
import { printTable } from './statistics.ts';

const WIDTH = 2000;
const HEIGHT = 1500;
const SIGMA = 2;
/** Where the picture's corners go: a camera tilted by some 20°. */
const TILTED = [120, 60, 1900, 20, 1990, 1480, 10, 1400];

const KERNELS = [
  'resize to half',
  'Gaussian blur, σ 2',
  'Gaussian blur, σ 2, 32-bit floats',
  'warp',
  'Sobel',
  'Canny',
  'find contours',
] as const;
type Kernel = (typeof KERNELS)[number];
interface Library {
  name: string;
  kernels: Partial<Record<Kernel, () => unknown>>;
}

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: { times: { type: 'string', default: '15' }, also: { type: 'string' } },
  });
  const picture = await drawPicture();
  const libraries = [withOpenCv('opencv-wasm', cvmod.cv as never, picture), withSharp(picture)];
  if (values.also) libraries.push(...(await othersIn(values.also, picture)));

  const fastest = new Map<string, number>();
  for (let turn = 0; turn < Number(values.times); turn++) {
    for (const kernel of KERNELS) {
      for (const { name, kernels } of libraries) {
        const work = kernels[kernel];
        if (!work) continue;
        const startedMs = performance.now();
        await work();
        const tookMs = performance.now() - startedMs;
        const key = `${kernel} ${name}`;
        fastest.set(key, Math.min(tookMs, fastest.get(key) ?? Infinity));
      }
    }
  }
  printTable(
    ['kernel', ...libraries.map(({ name }) => name)],
    KERNELS.map((kernel) => {
      const own = fastest.get(`${kernel} ${libraries[0]!.name}`)!;
      const cells = libraries.map(({ name }, index) => {
        const ms = fastest.get(`${kernel} ${name}`);
        if (ms === undefined) return 'not there';
        return index === 0 ? `${ms.toFixed(1)} ms` : `${(ms / own).toFixed(2)} ×`;
      });
      return [kernel, ...cells];
    }),
  );
  process.exit(0); // threads of WebAssembly libraries would keep it
}

/** Woven stripes with noise: edges everywhere, as on cloth. */
async function drawPicture(): Promise<Uint8Array> {
  const pixels = new Uint8Array(WIDTH * HEIGHT);
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      const wave = 50 * Math.sin(x / 4 + 2 * Math.sin(y / 30)) + 40 * Math.sin(y / 5);
      const noise = (((x * 7919) ^ (y * 104_729)) % 31) - 15;
      pixels[y * WIDTH + x] = 128 + wave + noise;
    }
  }
  return pixels;
}

/** What of OpenCV's JavaScript is used here; its builds share these names. */
interface OpenCv {
  Mat: new () => Mat;
  MatVector: new () => { delete(): void };
  Size: new (width: number, height: number) => unknown;
  matFromArray(rows: number, cols: number, type: number, data: ArrayLike<number>): Mat;
  getPerspectiveTransform(from: Mat, to: Mat): Mat;
  [name: string]: unknown;
}
interface Mat {
  delete(): void;
  data: Uint8Array;
}

function withOpenCv(name: string, cv: OpenCv, picture: Uint8Array): Library {
  const call = (operation: string, ...rest: unknown[]): unknown =>
    (cv[operation] as (...all: unknown[]) => unknown)(...rest);
  const [u8, f32x2, s16] = [cv.CV_8UC1, cv.CV_32FC2, cv.CV_16S] as [number, number, number];
  const source = cv.matFromArray(HEIGHT, WIDTH, u8, []);
  source.data.set(picture);
  const floats = cv.matFromArray(HEIGHT, WIDTH, cv.CV_32FC1 as number, []);
  (floats as unknown as { data32F: Float32Array }).data32F.set(picture);
  const corners = cv.matFromArray(4, 1, f32x2, [0, 0, WIDTH, 0, WIDTH, HEIGHT, 0, HEIGHT]);
  const tilted = cv.matFromArray(4, 1, f32x2, TILTED);
  const matrix = cv.getPerspectiveTransform(tilted, corners);
  const [out, across, down, edges] = [new cv.Mat(), new cv.Mat(), new cv.Mat(), new cv.Mat()];
  call('Canny', source, edges, 60, 120);
  return {
    name,
    kernels: {
      'resize to half': () =>
        call('resize', source, out, new cv.Size(WIDTH / 2, HEIGHT / 2), 0, 0, cv.INTER_AREA),
      'Gaussian blur, σ 2': () => call('GaussianBlur', source, out, new cv.Size(0, 0), SIGMA, SIGMA),
      'Gaussian blur, σ 2, 32-bit floats': () =>
        call('GaussianBlur', floats, out, new cv.Size(0, 0), SIGMA, SIGMA),
      warp: () => call('warpPerspective', source, out, matrix, new cv.Size(WIDTH, HEIGHT), cv.INTER_LINEAR),
      Sobel: () => {
        call('Sobel', source, across, s16, 1, 0, 3);
        call('Sobel', source, down, s16, 0, 1, 3);
      },
      Canny: () => call('Canny', source, out, 60, 120),
      'find contours': () => {
        const contours = new cv.MatVector();
        call('findContours', edges, contours, out, cv.RETR_LIST, cv.CHAIN_APPROX_SIMPLE);
        contours.delete();
      },
    },
  };
}

/** It has neither perspective (here: an affine warp), Canny nor contours. Its Sobel is two convolutions. */
function withSharp(picture: Uint8Array): Library {
  sharp.concurrency(1);
  sharp.cache(false);
  const from = () => sharp(picture, { raw: { width: WIDTH, height: HEIGHT, channels: 1 } });
  const floats = Float32Array.from(picture);
  const sobel = (kernel: number[]) =>
    from().convolve({ width: 3, height: 3, kernel, offset: 128, scale: 8 }).raw().toBuffer();
  return {
    name: `sharp ${sharp.versions.sharp}`,
    kernels: {
      'resize to half': () =>
        from()
          .resize(WIDTH / 2, HEIGHT / 2, { kernel: 'linear' })
          .raw()
          .toBuffer(),
      'Gaussian blur, σ 2': () => from().blur({ sigma: SIGMA, precision: 'integer' }).raw().toBuffer(),
      'Gaussian blur, σ 2, 32-bit floats': () =>
        sharp(floats, { raw: { width: WIDTH, height: HEIGHT, channels: 1 } })
          .blur({ sigma: SIGMA, precision: 'float' })
          .raw({ depth: 'float' })
          .toBuffer(),
      warp: () => from().affine([0.95, 0.04, -0.03, 0.97], { interpolator: 'bilinear' }).raw().toBuffer(),
      Sobel: () =>
        Promise.all([sobel([-1, 0, 1, -2, 0, 2, -1, 0, 1]), sobel([-1, -2, -1, 0, 0, 0, 1, 2, 1])]),
    },
  };
}

async function othersIn(folder: string, picture: Uint8Array): Promise<Library[]> {
  const require = createRequire(join(resolve(folder), 'package.json'));
  const load = async (name: string): Promise<Record<string, unknown> | null> => {
    try {
      return (await import(pathToFileURL(require.resolve(name)).href)) as Record<string, unknown>;
    } catch (error) {
      console.log(`${name}: ${(error as Error).message.split('\n')[0]}`);
      return null;
    }
  };
  const found: Library[] = [];
  const openCv = await load('@opencvjs/web');
  if (openCv) {
    const cv = await (openCv.loadOpenCV as () => Promise<OpenCv>)();
    found.push(withOpenCv('@opencvjs/web', cv, picture));
  }
  const vips = await load('wasm-vips');
  if (vips) found.push(await withWasmVips(vips.default as (options?: object) => Promise<Vips>, picture));
  return found;
}

/** What of wasm-vips is used here. */
interface Vips {
  concurrency(threads: number): void;
  Image: {
    newFromMemory(
      data: Uint8Array | Float32Array,
      width: number,
      height: number,
      bands: number,
      format: string,
    ): VipsImage;
    xyz(width: number, height: number): VipsImage;
    newFromArray(rows: number[][]): VipsImage;
  };
  Interpolate: { newFromName(name: string): unknown };
}
interface VipsImage {
  resize(scale: number, options?: object): VipsImage;
  gaussblur(sigma: number, options?: object): VipsImage;
  mapim(index: VipsImage, options?: object): VipsImage;
  sobel(): VipsImage;
  canny(options?: object): VipsImage;
  affine(matrix: number[], options?: object): VipsImage;
  writeToMemory(): Uint8Array;
  delete(): void;
}

async function withWasmVips(
  start: (options?: object) => Promise<Vips>,
  picture: Uint8Array,
): Promise<Library> {
  const vips = await start();
  vips.concurrency(1);
  const source = vips.Image.newFromMemory(picture, WIDTH, HEIGHT, 1, 'uchar');
  const floats = vips.Image.newFromMemory(Float32Array.from(picture), WIDTH, HEIGHT, 1, 'float');
  const interpolate = vips.Interpolate.newFromName('bilinear');
  const done = (image: VipsImage): void => {
    image.writeToMemory();
    image.delete();
  };
  return {
    name: 'wasm-vips',
    kernels: {
      'resize to half': () => done(source.resize(0.5, { kernel: 'linear' })),
      'Gaussian blur, σ 2': () => done(source.gaussblur(SIGMA, { precision: 'integer' })),
      'Gaussian blur, σ 2, 32-bit floats': () => done(floats.gaussblur(SIGMA, { precision: 'float' })),
      warp: () => done(source.affine([0.95, 0.04, -0.03, 0.97], { interpolate })),
      Sobel: () => done(source.sobel()),
      Canny: () => done(source.canny({ sigma: 1, precision: 'integer' })),
    },
  };
}
