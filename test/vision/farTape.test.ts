import { describe, expect, it } from 'vitest';
import { BINS, fitting } from '../../vision/scale/ruler/combAlong.ts';
import { nameComb, readFarTape } from '../../vision/scale/ruler/farTape.ts';
import { DOUBTFUL_AT_MOST, TRUSTED } from '../../vision/scale/trusted.ts';
import { pxToMm } from '../../vision/scale/lens.ts';
import type { Point } from '../../vision/types.ts';
import { sidesAlike } from '../../vision/piece/evenPiece.ts';
import { drawRuler, type DrawnPhoto, type RulerDrawing } from './rulerDrawing.ts';

/** A tape 60 cm long from so far that its millimetres are 1.5 px, looked at aslant from one side. */
const FAR: Partial<RulerDrawing> = {
  widthPx: 1000,
  heightPx: 600,
  pxPerMm: 1.5,
  lengthMm: 600,
  bodyWidthMm: 17,
  offsetMm: { x: 0, y: 150 },
  rotationDeg: 3,
  tiltDeg: 12,
  tiltTowardsDeg: 90,
  blurPx: 0.8,
};

/** A piece that is known to be all but a rectangle. */
const ALIKE = { sd: [0.004, 0.004, 0.01], share: 1 };

/** mm on the table → px, by bisection of what the drawing says of each pixel. */
function toPx({ toMm }: DrawnPhoto, mm: Point): Point {
  let p = { x: 500, y: 300 };
  for (let i = 0; i < 12; i++) {
    const at = toMm(p.x, p.y);
    const right = toMm(p.x + 1, p.y);
    const down = toMm(p.x, p.y + 1);
    const [a, b, c, d] = [right.x - at.x, down.x - at.x, right.y - at.y, down.y - at.y];
    const [ex, ey] = [mm.x - at.x, mm.y - at.y];
    const det = a * d - b * c;
    p = { x: p.x + (d * ex - b * ey) / det, y: p.y + (a * ey - c * ex) / det };
  }
  return p;
}

/** Where a network would see the tape, wider than it is and a little aside. */
function bodyOf(drawn: DrawnPhoto, o: Partial<RulerDrawing>) {
  const r = ((o.rotationDeg ?? 0) * Math.PI) / 180;
  const at = (along: number, across: number): Point =>
    toPx(drawn, {
      x: o.offsetMm!.x + along * Math.cos(r) - across * Math.sin(r),
      y: o.offsetMm!.y + along * Math.sin(r) + across * Math.cos(r),
    });
  const [a, b] = [at(-o.lengthMm! / 2, 1), at(o.lengthMm! / 2, -1)];
  const length = Math.hypot(b.x - a.x, b.y - a.y);
  const widthPx = 1.25 * o.bodyWidthMm! * o.pxPerMm!;
  const n = { x: -(b.y - a.y) / length, y: (b.x - a.x) / length };
  return {
    lengthPx: length,
    widthPx,
    place: (along: number, across: number) => ({
      x: a.x + along * (b.x - a.x) + (across * n.x * widthPx) / 2,
      y: a.y + along * (b.y - a.y) + (across * n.y * widthPx) / 2,
    }),
  };
}

const read = (o: Partial<RulerDrawing>, odds = { tape: 0.9, cloth: 0.02 }) => {
  const drawn = drawRuler(o);
  return { drawn, scale: readFarTape(drawn.photo, [{ ...bodyOf(drawn, o), oddsAt: () => odds }]) };
};

/** What the sides of a piece beside the tape say, which is truly a rectangle. */
function alike(drawn: DrawnPhoto) {
  const chord = (a: Point, b: Point, at: number) => ({ at, from: toPx(drawn, a), to: toPx(drawn, b) });
  const places = [0.1, 0.3, 0.5, 0.7, 0.9];
  const widths = places.map((at) => chord({ x: -250, y: 110 - 280 * at }, { x: 250, y: 110 - 280 * at }, at));
  const heights = places.map((at) =>
    chord({ x: -250 + 500 * at, y: 110 }, { x: -250 + 500 * at, y: -170 }, at),
  );
  return sidesAlike(widths, heights, drawn.photo.rgb);
}

describe('windows that show the same marks', () => {
  const window = (alongPx: number, share: number) => ({
    alongPx,
    share,
    offset: 0,
    acrossPx: 0,
    lean: 0,
    sigmaPx: 0.1,
    leanSigma: 0.01,
  });

  it('are the longest stretch of them: a folded end shows others', () => {
    const shares = [0.7, 0.6, 0.1, 0.7, 0.8, 0.7, 0.1, 0.1, 0.1, 0.1, 0.1, 0.5, 0.6];
    const windows = shares.map((share, i) => window(30 * i, share));
    expect(fitting(windows, 30).map(({ alongPx }) => alongPx / 30)).toEqual([0, 1, 3, 4, 5]);
  });

  it('are none where nothing is shown', () => {
    expect(
      fitting(
        [0, 30, 60, 90].map((at) => window(at, 0.01)),
        30,
      ),
    ).toEqual([]);
    expect(fitting([], 30)).toEqual([]);
  });
});

describe('what one period of a tape looks like', () => {
  /** A comb whose pattern has so much power in each harmonic, on a tape 20 px wide. */
  const named = (pitchPx: number, powers: readonly number[], odd = 1) =>
    nameComb(
      {
        indexAt: (along) => along / pitchPx,
        leanAt: () => 0,
        pitchPx,
        clearness: 50,
        pattern: [
          Float64Array.from({ length: BINS }, (_, i) =>
            powers.reduce(
              (sum, power, k) =>
                sum + 2 * Math.sqrt(power / BINS) * Math.cos((2 * Math.PI * (k + 1) * i) / BINS),
              0,
            ),
          ),
        ],
        noise: Float64Array.of(1),
        perBin: 1,
        windows: Array.from({ length: 20 }, (_, i) => ({
          alongPx: 60 * i,
          offset: 0,
          acrossPx: 0,
          lean: 0,
          sigmaPx: 0.1,
          leanSigma: 0.01,
          share: 0.5,
        })),
        twice: [odd, 100, odd, 50, odd, 20, odd, 10],
      },
      20,
    );

  it('tells an inch from two or four centimetres by its one number', () => {
    expect(named(30, [325, 270, 107, 120, 11, 20, 5, 30])).toMatchObject({ unit: 'inch', isSure: true });
    expect(named(30, [110, 206, 36, 100, 4, 23, 1, 4])?.isSure).toBe(false);
    expect(named(30, [16, 206, 36, 152, 4, 23, 1, 4])).toBeNull();
    expect(named(30, [230, 2, 10, 219, 2, 2, 2, 128])?.isSure).toBe(false);
    expect(named(30, [157, 2, 10, 219, 2, 2, 2, 128])).toBeNull();
  });

  it('is a centimetre though its millimetres show, which stand at tenths, and none where something stands at eighths', () => {
    const millimetres = [335, 254, 45, 72, 10, 38, 6, 11, 1, 105];
    expect(named(11, millimetres)).toMatchObject({ unit: 'metric', isSure: true });
    expect(named(11, [...millimetres.slice(0, 9), 1])).toBeNull();
  });

  it('is a centimetre that is not sure where neighbours differ by their noise, and none where they differ by half', () => {
    const faint = [117, 15, 18, 6, 1];
    expect(named(11, faint, 6)).toMatchObject({ unit: 'metric', isSure: false });
    expect(named(11, faint, 30)).toBeNull();
    // on a tape too wide by that name it has to be plainer
    expect(named(9, faint, 6)).toBeNull();
  });

  it('is an inch that is not sure where its quarters are gone, by its one number, and none where that is faint', () => {
    expect(named(28, [338, 259, 139, 59, 6, 2, 3, 3])).toMatchObject({ unit: 'inch', isSure: false });
    expect(named(28, [68, 52, 28, 12, 1, 0, 1, 1])).toBeNull();
  });

  it('is not sure on a tape of an unusual width by that name', () => {
    expect(named(9, [335, 254, 45, 72])).toMatchObject({ unit: 'metric', isSure: false });
    expect(named(22, [325, 270, 107, 120, 11, 20, 5, 30])).toMatchObject({ unit: 'inch', isSure: false });
  });
});

describe('a tape from so far that its small marks run together', () => {
  const { drawn, scale } = read({ ...FAR, edges: ['metric', 'none'] });
  const size = drawn.photo.rgb;
  const lengthBy = (by: Parameters<typeof pxToMm>[0], from: Point, to: Point): number => {
    const [a, b] = [pxToMm(by, toPx(drawn, from), size), pxToMm(by, toPx(drawn, to), size)];
    return Math.hypot(b.x - a.x, b.y - a.y);
  };

  it('is read by its centimetres, to a few tenths of a per cent along it', () => {
    expect(scale?.variety).toBe('metric');
    // Measured with, and said to be doubtful.
    expect(scale!.confidence).toBe(DOUBTFUL_AT_MOST);
    const r = (3 * Math.PI) / 180;
    const along = (t: number): Point => ({ x: t * Math.cos(r), y: 150 + t * Math.sin(r) });
    expect(Math.abs(lengthBy(scale!, along(-200), along(200)) / 400 - 1)).toBeLessThan(0.004);
  });

  it('says that lengths far beside it are known less, and knows them once held against sides that are alike', () => {
    const held = scale!.heldAgainst!(alike(drawn), [ALIKE])!;
    const top = (by: NonNullable<typeof scale>) =>
      lengthBy(by, { x: -250, y: -170 }, { x: 250, y: -170 }) / 500 - 1;
    const spread = (by: NonNullable<typeof scale>) =>
      Math.sqrt(by.variations!.reduce((s, v) => s + v.weight * (top({ ...by, ...v }) - top(by)) ** 2, 0));
    expect(spread(scale!)).toBeGreaterThan(0.01);
    expect(spread(held)).toBeLessThan(0.3 * spread(scale!));
    expect(Math.abs(top(held))).toBeLessThan(0.012);
    expect(held.tiltDeg).toBeGreaterThan(9);
    expect(held.tiltDeg).toBeLessThan(15);
  });

  it('is more doubtful where it is said to be seen from steeply beside: a bend may look like that', () => {
    const steep = read({ ...FAR, edges: ['metric', 'none'], tiltDeg: 46 });
    const held = steep.scale!.heldAgainst!(alike(steep.drawn), [ALIKE])!;
    expect(held.tiltDeg).toBeGreaterThan(24);
    expect(held.confidence).toBe(TRUSTED);
    const level = scale!.heldAgainst!(alike(drawn), [ALIKE])!;
    expect(level.confidence).toBe(DOUBTFUL_AT_MOST);
  });

  it('never has inches for centimetres', () => {
    const inch = read({ ...FAR, edges: ['inch-8', 'none'], bodyWidthMm: 18 }).scale;
    expect(inch?.variety).toBe('inch');
    // halves of an inch alone, as far apart for the width as centimetres are
    const bare = read({ ...FAR, edges: ['inch-8', 'none'], bodyWidthMm: 18, numerals: false }).scale;
    expect(bare?.variety ?? 'inch').toBe('inch');
  });

  it('is not read where the network sees cloth: stitches of a border repeat as evenly', () => {
    expect(read({ ...FAR, edges: ['metric', 'none'] }, { tape: 0.46, cloth: 0.2 }).scale).toBeNull();
  });

  it('is more doubtful where the network hardly sees a tape: checks beside one repeat as its centimetres do', () => {
    const checks = read({ ...FAR, edges: ['metric', 'none'] }, { tape: 0.62, cloth: 0.02 }).scale;
    expect(checks?.variety).toBe('metric');
    expect(checks!.confidence).toBe(TRUSTED);
  });

  it('is more doubtful where its edges are seen along less than most of it', () => {
    const drawn = drawRuler({ ...FAR, edges: ['metric', 'none'] });
    const { rgb } = drawn.photo;
    for (let y = 0; y < rgb.heightPx; y++)
      rgb.data.fill(200, 3 * (y * rgb.widthPx + 420), 3 * (y + 1) * rgb.widthPx);
    const body = { ...bodyOf(drawn, FAR), oddsAt: () => ({ tape: 0.9, cloth: 0.02 }) };
    const scale = readFarTape(drawn.photo, [body]);
    expect(scale?.variety).toBe('metric');
    expect(scale!.confidence).toBe(TRUSTED);
  });

  it('is more doubtful where something else that is seen as a tape is surely of another scale', () => {
    const other: Partial<RulerDrawing> = { ...FAR, pxPerMm: 1, offsetMm: { x: 0, y: -170 }, bodyWidthMm: 16 };
    const [low, high] = [FAR, other].map((o) => drawRuler({ ...o, edges: ['metric', 'none'] })) as [
      DrawnPhoto,
      DrawnPhoto,
    ];
    const half = (FAR.widthPx! * FAR.heightPx!) / 2;
    const { rgb, gray } = low.photo;
    rgb.data.set(high.photo.rgb.data.subarray(0, 3 * half));
    gray.data.set(high.photo.gray.data.subarray(0, half));
    const seen = { oddsAt: () => ({ tape: 0.9, cloth: 0.02 }) };
    const bodies = [
      { ...bodyOf(low, FAR), ...seen },
      { ...bodyOf(high, other), ...seen },
    ];
    expect(readFarTape(low.photo, bodies)!.confidence).toBe(TRUSTED);
    for (const body of bodies) expect(readFarTape(low.photo, [body])!.confidence).toBe(DOUBTFUL_AT_MOST);
  });

  it('is not read where nothing repeats', () => {
    expect(read({ ...FAR, edges: ['none', 'none'] }).scale).toBeNull();
  });
});
