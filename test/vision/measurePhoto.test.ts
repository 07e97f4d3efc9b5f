import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { cv, type Mat } from '../../vision/cv.ts';
import { isVisionError, VisionError } from '../../vision/errors.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import { STAGES, type Measurement, type MeasureOptions, type Stage } from '../../vision/measurement.ts';
import type { Measured, Point } from '../../vision/types.ts';
import { greyPng, marks, middleOf, sample, SAMPLES, type SampleName } from './samples.ts';
import { uniform } from './waves.ts';

const relative = (a: number, b: number) => Math.abs(a / b - 1);
const codes = (m: Measurement) => m.advice.map((a) => a.code);

/** Each sample is measured once as it is, for all tests here. */
const asItIs = new Map<SampleName, Promise<Measurement>>();
function measuredSample(name: SampleName): Promise<Measurement> {
  if (!asItIs.has(name))
    asItIs.set(
      name,
      sample(name).then(({ bytes }) => measurePhoto(bytes)),
    );
  return asItIs.get(name)!;
}

/** 50 mm marked by hand across the cloth of the half double crochet swatch, said to be this long. */
async function byHand(lengthMm = 50): Promise<MeasureOptions> {
  const one = await sample('hdc-swatch-card');
  const stitches = 50 / one.truth.mmPerPx / one.truth.fabric.stitchPitchPx;
  return {
    reference: 'manual',
    manual: { type: 'two-points', pointsPx: marks(one, 'stitches', stitches), lengthMm },
  };
}

async function refusal(work: Promise<unknown>): Promise<VisionError> {
  const error: unknown = await work.then(
    () => null,
    (e: unknown) => e,
  );
  if (!isVisionError(error)) throw new Error(`expected a VisionError, got ${String(error)}`);
  expect(error.hint).toMatch(/\.$/);
  return error;
}

/** Refused: no number of any kind, and advice that says why. */
function expectNoNumber(m: Measurement): void {
  expect(m.status).toBe('refused');
  expect(m.gauge).toBeNull();
  expect(m.lattice).toBeNull();
  expect(m.counted).toEqual({ stitches: null, rows: null });
  expect(m.localGauge).toEqual([]);
  expect(m.alternatives).toEqual([]);
  expect(m.overlay).toBeNull();
  expect(m.advice.length).toBeGreaterThan(0);
  for (const { message } of m.advice) expect(message).toMatch(/^[A-Z].*[.]$/);
}

describe('measurePhoto on the sample photos', () => {
  it.each(SAMPLES)('reads the gauge of %s', async (name) => {
    const { truth } = await sample(name);
    const m = await measuredSample(name);
    expect(m.status).not.toBe('refused');
    expect(m.photo).toEqual({ widthPx: truth.widthPx, heightPx: truth.heightPx });
    expect(m.scale!.kind).toBe(truth.reference!.kind);
    const near = (seen: Measured, true_: number) => {
      const inside = seen.low95 <= true_ && true_ <= seen.high95;
      expect(inside || relative(seen.value, true_) < 0.03, `${seen.value} for ${true_}`).toBe(true);
      expect(seen.standardUncertainty).toBeGreaterThan(0);
      expect(seen.standardUncertainty / seen.value).toBeLessThan(0.05);
    };
    near(m.gauge!.stitchesPer10cm, truth.fabric.stitchesPer10cm);
    near(m.gauge!.rowsPer10cm, truth.fabric.rowsPer10cm);
  });

  it.each(SAMPLES)('counts %s from edge to edge to within a stitch, where it counts', async (name) => {
    const { fabric } = (await sample(name)).truth;
    const { counted } = await measuredSample(name);
    expect(counted.stitches ?? counted.rows).not.toBeNull();
    if (counted.stitches) {
      expect(Math.abs(counted.stitches.value - fabric.stitchCount)).toBeLessThanOrEqual(1);
    }
    if (counted.rows) expect(Math.abs(counted.rows.value - fabric.rowCount)).toBeLessThanOrEqual(1);
  });

  it.each(SAMPLES)('says where stitches and rows run in the photo of %s', async (name) => {
    const { fabric } = (await sample(name)).truth;
    const lattice = (await measuredSample(name)).lattice!;
    expect(relative(lattice.stitchPitchPx, fabric.stitchPitchPx)).toBeLessThan(0.03);
    expect(relative(lattice.rowPitchPx, fabric.rowPitchPx)).toBeLessThan(0.03);
    const apart = (a: number, b: number) => Math.abs(((((a - b) % 180) + 270) % 180) - 90);
    expect(apart(lattice.stitchAngleDeg, fabric.stitchAngleDeg)).toBeLessThan(2);
    expect(apart(lattice.rowAngleDeg, fabric.rowAngleDeg)).toBeLessThan(3);
  });

  it('weighs all ways to count so that they sum to 1, the chosen one first', async () => {
    const m = await measuredSample('hdc-swatch-card');
    expect(m.alternatives.reduce((s, a) => s + a.weight, 0)).toBeCloseTo(1, 1);
    expect(m.alternatives[0].stitchesPer10cm).toBeCloseTo(m.gauge!.stitchesPer10cm.value, 6);
    expect(m.alternatives[0].rowsPer10cm).toBeCloseTo(m.gauge!.rowsPer10cm.value, 6);
  });

  it('gives the gauge by parts of the cloth, about the mean', async () => {
    const m = await measuredSample('hdc-swatch-card');
    expect(m.localGauge.length).toBeGreaterThan(12);
    for (const part of m.localGauge) {
      expect(relative(part.stitchesPer10cm!, m.gauge!.stitchesPer10cm.value)).toBeLessThan(0.15);
      expect(part.alongRows).toBeGreaterThanOrEqual(0);
      expect(part.alongRows).toBeLessThanOrEqual(1);
    }
  });

  it('draws its lines over the cloth and not beside it', async () => {
    const one = await sample('hdc-swatch-card');
    const { overlay } = await measuredSample('hdc-swatch-card');
    const xs = one.truth.fabric.outlinePx.map((p) => p.x);
    const ys = one.truth.fabric.outlinePx.map((p) => p.y);
    const margin = one.truth.fabric.stitchPitchPx;
    for (const p of [...overlay!.rowLinesPx, ...overlay!.stitchLinesPx].flat()) {
      expect(p.x).toBeGreaterThan(Math.min(...xs) - margin);
      expect(p.x).toBeLessThan(Math.max(...xs) + margin);
      expect(p.y).toBeGreaterThan(Math.min(...ys) - margin);
      expect(p.y).toBeLessThan(Math.max(...ys) + margin);
    }
    expect(Math.abs(overlay!.rowLinesPx.length - 1 - one.truth.fabric.rowCount)).toBeLessThanOrEqual(2);
  });

  it('reads the same from a photo that is stored turned', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    // Stored turned 90° clockwise; orientation 8 says to turn it back.
    const turned = await sharp(bytes)
      .rotate(90)
      .withMetadata({ orientation: 8 })
      .jpeg({ quality: 95 })
      .toBuffer();
    const [a, b] = [await measuredSample('hdc-swatch-card'), await measurePhoto(turned)];
    expect(b.photo).toEqual(a.photo);
    expect(relative(b.gauge!.stitchesPer10cm.value, a.gauge!.stitchesPer10cm.value)).toBeLessThan(0.01);
    expect(relative(b.gauge!.rowsPer10cm.value, a.gauge!.rowsPer10cm.value)).toBeLessThan(0.01);
  });

  it('reads the same from a copy of two thirds the size', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const smaller = await sharp(bytes).resize(1200).jpeg({ quality: 92 }).toBuffer();
    const [a, b] = [await measuredSample('hdc-swatch-card'), await measurePhoto(smaller)];
    expect(relative(b.gauge!.stitchesPer10cm.value, a.gauge!.stitchesPer10cm.value)).toBeLessThan(0.02);
    expect(relative(b.gauge!.rowsPer10cm.value, a.gauge!.rowsPer10cm.value)).toBeLessThan(0.02);
  });

  it.each(SAMPLES)('reads half the pitches from a copy of half the size of %s', async (name) => {
    const { bytes } = await sample(name);
    const half = await sharp(bytes).resize(900).jpeg({ quality: 92 }).toBuffer();
    const [a, b] = [await measuredSample(name), await measurePhoto(half, { pixelsOnly: true })];
    expect(relative(2 * b.lattice!.stitchPitchPx, a.lattice!.stitchPitchPx)).toBeLessThan(0.02);
    expect(relative(2 * b.lattice!.rowPitchPx, a.lattice!.rowPitchPx)).toBeLessThan(0.02);
  });
});

describe('measurePhoto with options', () => {
  it('gives the lattice in pixels without looking for a reference', async () => {
    const { bytes, truth } = await sample('hdc-swatch-card');
    const m = await measurePhoto(bytes, { pixelsOnly: true });
    expect(m.status).not.toBe('refused');
    expect([m.scale, m.gauge]).toEqual([null, null]);
    expect(relative(m.lattice!.stitchPitchPx, truth.fabric.stitchPitchPx)).toBeLessThan(0.03);
    expect(m.lattice!.standardUncertaintyPx.stitchPitch).toBeGreaterThan(0);
    for (const part of m.localGauge) expect(part.stitchesPer10cm).toBeNull();
  });

  it('takes two marks by hand for scale: a gauge for every length, in proportion', async () => {
    const { bytes, truth } = await sample('hdc-swatch-card');
    const m = await measurePhoto(bytes, await byHand(50));
    const twice = await measurePhoto(bytes, await byHand(100));
    expect(m.scale).toMatchObject({ kind: 'manual', variety: 'two-points' });
    expect(relative(m.gauge!.stitchesPer10cm.value, truth.fabric.stitchesPer10cm)).toBeLessThan(0.03);
    // But for how far waves lift the cloth toward the camera, which is a length of its own.
    expect(relative(twice.gauge!.stitchesPer10cm.value, m.gauge!.stitchesPer10cm.value / 2)).toBeLessThan(
      1e-3,
    );
    expect(relative(twice.gauge!.rowsPer10cm.value, m.gauge!.rowsPer10cm.value / 2)).toBeLessThan(1e-3);
    // Two marks tell nothing about tilt, and the answer says so.
    expect(codes(m)).toContain('tilt-unknown');
  });

  it("reads only inside the maker's region", async () => {
    const one = await sample('hdc-swatch-card');
    const { x, y } = middleOf(one);
    const regionPx: Point[] = [
      { x: x - 160, y: y - 200 },
      { x: x + 160, y: y - 200 },
      { x: x + 160, y: y + 200 },
      { x: x - 160, y: y + 200 },
    ];
    const m = await measurePhoto(one.bytes, { pixelsOnly: true, regionPx });
    expect(relative(m.lattice!.stitchPitchPx, one.truth.fabric.stitchPitchPx)).toBeLessThan(0.03);
    for (const p of [...m.overlay!.rowLinesPx, ...m.overlay!.stitchLinesPx].flat()) {
      expect(Math.abs(p.x - x)).toBeLessThan(165);
      expect(Math.abs(p.y - y)).toBeLessThan(205);
    }
    // The region's edges are not the cloth's.
    expect(m.counted).toEqual({ stitches: null, rows: null });
  });

  it('finds no cloth where the region holds none', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const small = await sharp(bytes).resize(500).jpeg({ quality: 92 }).toBuffer();
    const regionPx = [
      { x: 420, y: 10 },
      { x: 495, y: 10 },
      { x: 495, y: 95 },
      { x: 420, y: 95 },
    ];
    const m = await measurePhoto(small, { pixelsOnly: true, regionPx });
    expectNoNumber(m);
    expect(codes(m)).toContain('no-fabric');
  });

  it('tells each stage as it finishes, in order', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const seen: Stage[] = [];
    const m = await measurePhoto(bytes, { pixelsOnly: true }, { onStage: (stage) => seen.push(stage) });
    expect(seen).toEqual([...STAGES]);
    for (const stage of STAGES) expect(m.timingsMs[stage]).toBeGreaterThanOrEqual(0);
  });

  it('stops when it is told to', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const stop = new AbortController();
    const seen: Stage[] = [];
    const work = measurePhoto(
      bytes,
      { pixelsOnly: true },
      {
        signal: stop.signal,
        onStage: (stage) => {
          seen.push(stage);
          if (stage === 'rectify') stop.abort();
        },
      },
    );
    await expect(work).rejects.toMatchObject({ name: 'AbortError' });
    expect(seen).toEqual(['decode', 'scale', 'rectify']);
  });
});

describe('corrections by the maker', () => {
  const corrected = async (axis: 'stitches' | 'rows', true_: number, count: number) => {
    const one = await sample('hdc-swatch-card');
    const corrections = [{ axis, count, pointsPx: marks(one, axis, true_) }];
    return measurePhoto(one.bytes, { pixelsOnly: true, corrections });
  };

  it('change nothing where the count agrees', async () => {
    const { fabric } = (await sample('hdc-swatch-card')).truth;
    const m = await corrected('stitches', 10, 10);
    expect(m.status).toBe('ok');
    expect(relative(m.lattice!.stitchPitchPx, fabric.stitchPitchPx)).toBeLessThan(0.03);
  });

  it.each<['stitches' | 'rows', number, number]>([
    ['stitches', 10, 20],
    ['stitches', 10, 5],
    ['rows', 8, 16],
  ])('have the lattice follow: %s, %i read and %i counted', async (axis, read, count) => {
    const { fabric } = (await sample('hdc-swatch-card')).truth;
    const m = await corrected(axis, read, count);
    expect(m.status).not.toBe('refused');
    const factor = read / count;
    const [stitch, row] = axis === 'stitches' ? [factor, 1] : [1, factor];
    expect(relative(m.lattice!.stitchPitchPx, stitch * fabric.stitchPitchPx)).toBeLessThan(0.05);
    expect(relative(m.lattice!.rowPitchPx, row * fabric.rowPitchPx)).toBeLessThan(0.05);
  });

  it('that fit nothing in the photo are followed, but not quietly', async () => {
    const { fabric } = (await sample('hdc-swatch-card')).truth;
    const m = await corrected('stitches', 10, 13);
    expect(m.status).toBe('unsure');
    expect(codes(m)).toContain('count-disagrees');
    expect(relative(m.lattice!.stitchPitchPx, (10 / 13) * fabric.stitchPitchPx)).toBeLessThan(0.05);
  });

  it.each<[string, string, number, [Point, Point] | null]>([
    ['count-not-positive', 'a count of nothing', 0, null],
    ['count-not-positive', 'a count below nothing', -4, null],
    ['count-not-positive', 'no number', NaN, null],
    ['count-not-positive', 'a count without end', Infinity, null],
    ['marks-too-close', 'more stitches than pixels', 1e6, null],
    [
      'marks-too-close',
      'two marks in one place',
      3,
      [
        { x: 600, y: 600 },
        { x: 600, y: 600 },
      ],
    ],
    [
      'mark-outside',
      'a mark outside the photo',
      3,
      [
        { x: 600, y: 600 },
        { x: 6000, y: 600 },
      ],
    ],
  ])('are turned down when they cannot be, %s: %s', async (code, _what, count, pointsPx) => {
    const one = await sample('hdc-swatch-card');
    const correction = { axis: 'stitches' as const, count, pointsPx: pointsPx ?? marks(one, 'stitches', 10) };
    const error = await refusal(measurePhoto(one.bytes, { pixelsOnly: true, corrections: [correction] }));
    expect([error.code, error.reason?.code]).toEqual(['bad-option', code]);
    if (code === 'marks-too-close') expect(error.message).toContain(`a count of ${count}.`);
  });
});

describe('photos that cannot be measured', () => {
  const draw = uniform(41);
  const tilt: [Point, Point] = [
    { x: 10, y: 10 },
    { x: 50, y: 40 },
  ];
  const manual: MeasureOptions = {
    reference: 'manual',
    manual: { type: 'two-points', pointsPx: tilt, lengthMm: 20 },
  };
  const pictures: Record<string, () => Promise<Uint8Array>> = {
    'a tiny picture': () => greyPng(64, 48, () => 120),
    'flat grey': () => greyPng(480, 360, () => 128),
    'a plain wall': () => greyPng(480, 360, (x) => 190 + x / 40 + 6 * (draw() - 0.5)),
    'pure noise': () => greyPng(480, 360, () => 255 * draw()),
    'a checkered tablecloth': () =>
      greyPng(480, 360, (x, y) =>
        (Math.floor(x / 20) + Math.floor(y / 20)) % 2 ? 225 + 8 * draw() : 60 + 8 * draw(),
      ),
    stripes: () => greyPng(480, 360, (_x, y) => 128 + 80 * Math.sin(y / 4)),
  };

  it.each(Object.keys(pictures))('%s: no reference, no number', async (name) => {
    const m = await measurePhoto(await pictures[name]());
    expectNoNumber(m);
    expect(m.scale).toBeNull();
    expect(['no-reference', 'reference-uncertain']).toContain(m.advice[0].code);
  });

  it.each(Object.keys(pictures))('%s: no cloth, no number, also where the scale is known', async (name) => {
    const m = await measurePhoto(await pictures[name](), manual);
    expectNoNumber(m);
    expect(m.scale!.kind).toBe('manual');
    expect(codes(m).some((c) => ['no-fabric', 'no-lattice', 'stitches-unclear'].includes(c))).toBe(true);
  });

  it('the loops of a carpet under a card: no cloth, though they repeat like stitches', async () => {
    const scene = randomSceneSpec(1161629, { noFabric: true, references: ['card', 'none'] });
    const { jpeg } = await renderScene(scene);
    const m = await measurePhoto(jpeg);
    expectNoNumber(m);
    expect(m.scale!.kind).toBe('card');
    expect(codes(m)).toEqual(['no-fabric']);
    // where the maker says that there is cloth, it is looked for
    const told = await measurePhoto(jpeg, { stitch: 'stockinette' });
    expect(codes(told)).not.toContain('no-fabric');
  });

  it('cloth without anything of known size: no number, and how to help', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const clothOnly = await sharp(bytes)
      .extract({ left: 300, top: 380, width: 640, height: 600 })
      .jpeg({ quality: 92 })
      .toBuffer();
    const m = await measurePhoto(clothOnly);
    expectNoNumber(m);
    expect(['no-reference', 'reference-uncertain']).toContain(m.advice[0].code);
  });

  it('cloth without anything of known size whose stitch is named: counted, though not measured', async () => {
    const { bytes, truth } = await sample('hdc-swatch-card');
    // there is no tape
    const m = await measurePhoto(bytes, { reference: 'tape', stitch: 'hdc' });
    expect(m.status).toBe('refused');
    expect(m.advice).toHaveLength(1);
    expect([m.scale, m.gauge, m.lattice]).toEqual([null, null, null]);
    expect(m.counted.rows!.value).toBe(truth.fabric.rowCount);
    expect(m.counted.stitches!.value).toBe(truth.fabric.stitchCount);
    expect(m.overlay!.rowLinesPx.length).toBeGreaterThan(truth.fabric.rowCount - 2);
    // nobody having said which stitch it is, half and twice as many are not ruled out
    expectNoNumber(await measurePhoto(bytes, { reference: 'tape' }));
  });

  it('what is no photo is told so', async () => {
    expect((await refusal(measurePhoto(new Uint8Array()))).code).toBe('empty-file');
    const text = new TextEncoder().encode('two skeins of cream, one of blue');
    expect((await refusal(measurePhoto(text))).code).toBe('not-an-image');
  });

  it('marks that make no scale are told so', async () => {
    const grey = await pictures['flat grey']();
    expect((await refusal(measurePhoto(grey, { reference: 'manual' }))).code).toBe('bad-option');
    for (const lengthMm of [0, -5, NaN]) {
      const bad: MeasureOptions = { ...manual, manual: { type: 'two-points', pointsPx: tilt, lengthMm } };
      expect((await refusal(measurePhoto(grey, bad))).code).toBe('bad-option');
    }
  });
});

describe("OpenCV's memory", () => {
  /** Bytes in use: the heap less what can still be had from it, in steps of 64 KiB. */
  function bytesInUse(): number {
    const before = cv.HEAP8.byteLength as number;
    const taken: Mat[] = [];
    while (cv.HEAP8.byteLength === before) taken.push(new cv.Mat(256, 256, cv.CV_8UC1) as Mat);
    const free = (taken.length - 1) * 65536;
    for (const mat of taken) mat.delete();
    return before - free;
  }

  it('is given back: 20 photos later no more of it is in use', async () => {
    const { bytes } = await sample('hdc-swatch-card');
    const cloth = new Uint8Array(
      await sharp(bytes)
        .extract({ left: 320, top: 420, width: 320, height: 320 })
        .resize(192)
        .jpeg({ quality: 92 })
        .toBuffer(),
    );
    const options: MeasureOptions = {
      reference: 'manual',
      manual: {
        type: 'two-points',
        pointsPx: [
          { x: 20, y: 20 },
          { x: 170, y: 120 },
        ],
        lengthMm: 60,
      },
    };
    const once = async () => {
      expect((await measurePhoto(cloth, options)).lattice).not.toBeNull();
      await measurePhoto(cloth).then(expectNoNumber);
    };
    await once();
    const before = bytesInUse();
    for (let i = 0; i < 20; i++) await once();
    // One grey picture of this size as 32-bit numbers is 0.15 MB: twenty of them would show.
    expect(bytesInUse() - before).toBeLessThan(1.5e6);

    // The gauge itself works: 4 MB that are held do show.
    const held = new cv.Mat(1000, 1000, cv.CV_8UC4) as Mat;
    expect(bytesInUse() - before).toBeGreaterThan(2.5e6);
    held.delete();
  });
});
