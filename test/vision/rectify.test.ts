import { describe, expect, it } from 'vitest';
import { rectify } from '../../vision/rectify.ts';
import { applyHomography, inverted, multiply } from '../../vision/scale/geometry.ts';
import { distort, undistort } from '../../vision/scale/lens.ts';
import type { DecodedPhoto, GrayImage, Matrix3, Point, Scale } from '../../vision/types.ts';

const SIZE = { widthPx: 640, heightPx: 480 };

/** A photo with these luma values; the rectifier looks at nothing else. */
function photoOf(value: (p: Point) => number): DecodedPhoto {
  const gray: GrayImage = { ...SIZE, data: new Float32Array(SIZE.widthPx * SIZE.heightPx) };
  for (let y = 0; y < SIZE.heightPx; y++) {
    for (let x = 0; x < SIZE.widthPx; x++) gray.data[y * SIZE.widthPx + x] = value({ x, y });
  }
  return {
    rgb: { ...SIZE, data: new Uint8Array(3 * SIZE.widthPx * SIZE.heightPx) },
    gray,
    originalWidthPx: SIZE.widthPx,
    originalHeightPx: SIZE.heightPx,
    decodeScale: 1,
    focalLength35mm: null,
  };
}

/** A plane seen from the side: 0.3 mm per px in the middle, nearer at the bottom. */
const PERSPECTIVE: Matrix3 = [0.3, 0.02, -90, -0.01, 0.34, -75, 0.00008, 0.0006, 1];

function scaleOf(h: Matrix3, over: Partial<Scale> = {}): Scale {
  return {
    kind: 'card',
    variety: 'id-1',
    homographyPxToMm: h,
    homographyCovariance: null,
    mmPerPx: 0.3,
    tiltDeg: 15,
    relativeUncertainty: 0.004,
    relativeUncertaintyPerReferenceLength: 0.001,
    outlinePx: [
      { x: 40, y: 40 },
      { x: 160, y: 45 },
      { x: 155, y: 120 },
      { x: 38, y: 118 },
    ],
    radialDistortion: null,
    confidence: 0.95,
    advice: [],
    ...over,
  };
}

const turned = (degrees: number): Matrix3 => {
  const c = Math.cos((degrees * Math.PI) / 180);
  const s = Math.sin((degrees * Math.PI) / 180);
  return [c, -s, 12, s, c, -7, 0, 0, 1];
};

const distance = (a: Point, b: Point) => Math.hypot(a.x - b.x, a.y - b.y);

/** Corners, mm, of a rectangle of 60 × 35 mm that lies askew somewhere in the middle of the view. */
function rectangleMm(h: Matrix3): [Point, Point, Point, Point] {
  const middle = applyHomography(h, { x: 340, y: 230 });
  const a = 0.3;
  return [
    [-30, -17.5],
    [30, -17.5],
    [30, 17.5],
    [-30, 17.5],
  ].map(([u, v]) => ({
    x: middle.x + u * Math.cos(a) - v * Math.sin(a),
    y: middle.y + u * Math.sin(a) + v * Math.cos(a),
  })) as [Point, Point, Point, Point];
}

describe('rectify', () => {
  it('makes a rectangle of known size a rectangle of that size again', () => {
    const corners = rectangleMm(PERSPECTIVE);
    const [a, b, , d] = corners;
    const inside = (p: Point) => {
      const q = applyHomography(PERSPECTIVE, p);
      const u = ((q.x - a.x) * (b.x - a.x) + (q.y - a.y) * (b.y - a.y)) / 60 ** 2;
      const v = ((q.x - a.x) * (d.x - a.x) + (q.y - a.y) * (d.y - a.y)) / 35 ** 2;
      return u >= 0 && u <= 1 && v >= 0 && v <= 1;
    };
    const flat = rectify(
      photoOf((p) => (inside(p) ? 1 : 0)),
      scaleOf(PERSPECTIVE),
    );
    const px = flat.pxPerMm!;

    const back = inverted(PERSPECTIVE);
    const [A, B, C, D] = corners.map((q) => flat.toRectified(applyHomography(back, q)));
    expect(distance(A, B) / px).toBeCloseTo(60, 4);
    expect(distance(C, D) / px).toBeCloseTo(60, 4);
    expect(distance(A, D) / px).toBeCloseTo(35, 4);
    expect(distance(B, C) / px).toBeCloseTo(35, 4);
    expect(distance(A, C)).toBeCloseTo(distance(B, D), 3);

    // The picture itself agrees: area and middle of what is white.
    let area = 0;
    let sumX = 0;
    let sumY = 0;
    flat.gray.data.forEach((v, i) => {
      area += v;
      sumX += v * (i % flat.gray.widthPx);
      sumY += v * Math.floor(i / flat.gray.widthPx);
    });
    expect(Math.abs(area / (60 * 35 * px * px) - 1)).toBeLessThan(0.01);
    expect(sumX / area).toBeCloseTo((A.x + C.x) / 2, 0);
    expect(sumY / area).toBeCloseTo((A.y + C.y) / 2, 0);
  });

  it.each([0, 90, 180, -90, 37])(
    'keeps right right and up up when the reference lies turned by %i°',
    (degrees) => {
      const flat = rectify(
        photoOf(() => 0.5),
        scaleOf(multiply(turned(degrees), PERSPECTIVE)),
      );
      const at = (x: number, y: number) => flat.toRectified({ x, y });
      const right = at(330, 240);
      const middle = at(320, 240);
      const up = at(320, 230);
      expect(Math.abs(right.y - middle.y)).toBeLessThan(0.02 * (right.x - middle.x));
      expect(middle.y - up.y).toBeGreaterThan(5);
    },
  );

  it.each([null, PERSPECTIVE])('turns what ran down to the right level, with a scale or without', (h) => {
    const level = rectify(
      photoOf(() => 0.5),
      h && scaleOf(h),
    );
    const turnDeg = 30;
    const flat = rectify(
      photoOf(() => 0.5),
      h && scaleOf(h),
      { turnDeg },
    );
    // Two places, one 30° below the other to the right in the flat picture that is not turned.
    const from = { x: 250, y: 200 };
    const step = { x: 60 * Math.cos(Math.PI / 6), y: 60 * Math.sin(Math.PI / 6) };
    const to = { x: from.x + step.x, y: from.y + step.y };
    const a = flat.toRectified(level.toDecoded(from));
    const b = flat.toRectified(level.toDecoded(to));
    expect(b.y - a.y).toBeCloseTo(0, 6);
    expect(b.x - a.x).toBeCloseTo(60, 4);
    expect(flat.pxPerMm).toEqual(level.pxPerMm && expect.closeTo(level.pxPerMm, 6));
    const there = flat.toDecoded(a);
    expect(there.x).toBeCloseTo(level.toDecoded(from).x, 6);
    expect(there.y).toBeCloseTo(level.toDecoded(from).y, 6);
  });

  it('keeps the resolution that the photo has in its middle', () => {
    const flat = rectify(
      photoOf(() => 0.5),
      scaleOf(PERSPECTIVE),
    );
    const middle = flat.toRectified({ x: 320, y: 240 });
    const right = flat.toRectified({ x: 321, y: 240 });
    const down = flat.toRectified({ x: 320, y: 241 });
    const area = (right.x - middle.x) * (down.y - middle.y) - (right.y - middle.y) * (down.x - middle.x);
    expect(area).toBeCloseTo(1, 1);
    const small = rectify(
      photoOf(() => 0.5),
      scaleOf(PERSPECTIVE),
      { maxSidePx: 300 },
    );
    expect(Math.max(small.gray.widthPx, small.gray.heightPx)).toBe(300);
  });

  it('goes there and back, lens distortion included', () => {
    const flat = rectify(
      photoOf(() => 0.5),
      scaleOf(PERSPECTIVE, { radialDistortion: -0.06 }),
    );
    for (const p of [
      { x: 320, y: 240 },
      { x: 30, y: 60 },
      { x: 610, y: 420 },
    ]) {
      expect(distance(flat.toDecoded(flat.toRectified(p)), p)).toBeLessThan(1e-3);
    }
  });

  it('straightens what the lens bends: a bent line comes out straight', () => {
    const k1 = -0.08;
    // Straight on the table, soft-edged, far from the middle where lenses bend most.
    const bentLine = (p: Point) => Math.exp(-0.5 * ((undistort(p, SIZE, k1).y - 60) / 2) ** 2);
    const level: Matrix3 = [0.3, 0, 0, 0, 0.3, 0, 0, 0, 1];
    const photo = photoOf(bentLine);
    const heights = (flat: ReturnType<typeof rectify>, at: number[]) =>
      at.map((x) => {
        const column = Math.round(flat.toRectified(distort({ x, y: 60 }, SIZE, k1)).x);
        let sum = 0;
        let total = 0;
        for (let y = 0; y < flat.gray.heightPx / 2; y++) {
          const v = flat.gray.data[y * flat.gray.widthPx + column];
          sum += v * y;
          total += v;
        }
        return sum / total;
      });
    const columns = [60, 190, 320, 450, 580];
    const straight = heights(rectify(photo, scaleOf(level, { radialDistortion: k1 })), columns);
    expect(Math.max(...straight) - Math.min(...straight)).toBeLessThan(0.5);
    const left = heights(rectify(photo, scaleOf(level)), columns);
    expect(Math.max(...left) - Math.min(...left)).toBeGreaterThan(4);
  });

  it('looks for no cloth on the reference', () => {
    const flat = rectify(
      photoOf(() => 0.5),
      scaleOf(PERSPECTIVE),
    );
    const allowed = (p: Point) => {
      const q = flat.toRectified(p);
      return flat.allowed.data[Math.round(q.y) * flat.allowed.widthPx + Math.round(q.x)];
    };
    expect(allowed({ x: 100, y: 80 })).toBe(0);
    expect(allowed({ x: 45, y: 45 })).toBe(0);
    expect(allowed({ x: 250, y: 80 })).toBe(255);
    expect(allowed({ x: 100, y: 200 })).toBe(255);
  });

  it('looks for cloth between two marks made by hand: they may lie on it', () => {
    const flat = rectify(
      photoOf(() => 0.5),
      scaleOf(PERSPECTIVE, { kind: 'manual', variety: 'two-points' }),
    );
    const q = flat.toRectified({ x: 100, y: 80 });
    expect(flat.allowed.data[Math.round(q.y) * flat.allowed.widthPx + Math.round(q.x)]).toBe(255);
  });

  it("looks only inside the maker's region, with a scale and without", () => {
    const regionPx = [
      { x: 300, y: 200 },
      { x: 500, y: 200 },
      { x: 500, y: 400 },
      { x: 300, y: 400 },
    ];
    for (const scale of [scaleOf(PERSPECTIVE), null]) {
      const flat = rectify(
        photoOf(() => 0.5),
        scale,
        { regionPx },
      );
      const allowed = (p: Point) => {
        const q = flat.toRectified(p);
        return flat.allowed.data[Math.round(q.y) * flat.allowed.widthPx + Math.round(q.x)];
      };
      expect(allowed({ x: 400, y: 300 })).toBe(255);
      expect(allowed({ x: 290, y: 300 })).toBe(0);
      expect(allowed({ x: 400, y: 410 })).toBe(0);
    }
  });

  it('leaves out where there surely is table, and makes nothing far from where cloth may be', () => {
    const photo = photoOf((p) => 0.3 + 0.4 * Math.sin(p.x / 7) * Math.sin(p.y / 5));
    const isTable = (p: Point) => p.x > 260;
    const whole = rectify(photo, scaleOf(turned(0)));
    const part = rectify(photo, scaleOf(turned(0)), { isTable });
    expect([part.gray.widthPx, part.gray.heightPx]).toEqual([whole.gray.widthPx, whole.gray.heightPx]);
    const at = (flat: typeof whole, p: Point, image: { widthPx: number; data: ArrayLike<number> }) => {
      const q = flat.toRectified(p);
      return image.data[Math.round(q.y) * image.widthPx + Math.round(q.x)];
    };
    expect(at(part, { x: 230, y: 300 }, part.allowed)).toBe(255);
    expect(at(part, { x: 300, y: 300 }, part.allowed)).toBe(0);
    expect(at(whole, { x: 300, y: 300 }, whole.allowed)).toBe(255);
    // As far as filters reach, the picture is the same.
    for (const x of [60, 200, 259, 280, 330])
      expect(at(part, { x, y: 300 }, part.gray)).toBe(at(whole, { x, y: 300 }, whole.gray));
    expect(at(whole, { x: 630, y: 300 }, whole.gray)).not.toBe(0);
    expect(at(part, { x: 630, y: 300 }, part.gray)).toBe(0);
  });

  it('leaves out table in a photo without a scale, too', () => {
    const photo = photoOf(() => 0.5);
    const { allowed } = rectify(photo, null, { isTable: (p) => p.y < 200 });
    expect(allowed.data[150 * SIZE.widthPx + 300]).toBe(0);
    expect(allowed.data[300 * SIZE.widthPx + 300]).toBe(255);
  });

  it('leaves out what lies toward the horizon', () => {
    // Steep: the plane's horizon crosses the picture at y = 100.
    const steep: Matrix3 = [0.3, 0, 0, 0, 0.3, 0, 0, 1 / 380, -100 / 380];
    const flat = rectify(
      photoOf(() => 0.5),
      scaleOf(steep),
    );
    expect(Math.max(flat.gray.widthPx, flat.gray.heightPx)).toBeLessThanOrEqual(2600);
    const q = flat.toRectified({ x: 320, y: 140 });
    const open =
      q.y >= 0 &&
      q.y < flat.allowed.heightPx &&
      flat.allowed.data[Math.round(q.y) * flat.allowed.widthPx + Math.round(q.x)] > 0;
    expect(open).toBe(false);
    const near = flat.toRectified({ x: 320, y: 300 });
    expect(flat.allowed.data[Math.round(near.y) * flat.allowed.widthPx + Math.round(near.x)]).toBe(255);
  });

  it('passes the photo through when no scale is known', () => {
    const photo = photoOf((p) => p.x / 640);
    const flat = rectify(photo, null);
    expect(flat.pxPerMm).toBeNull();
    expect(flat.gray).toBe(photo.gray);
    expect(flat.toDecoded({ x: 12.5, y: 99 })).toEqual({ x: 12.5, y: 99 });
    expect(flat.allowed.data.every((v) => v === 255)).toBe(true);
  });
});
