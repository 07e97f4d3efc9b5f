import { describe, expect, it } from 'vitest';
import { measureOutline } from '../../vision/piece/measureOutline.ts';
import { outlineSizes } from '../../vision/piece/outlineSizes.ts';
import { spacedEvenly } from '../../vision/piece/followEdge.ts';
import type { StitchesSeen } from '../../vision/piece/stitchesAcross.ts';
import type { LooksBelief } from '../../vision/scale/ruler/heldPlanes.ts';
import type { DecodedPhoto, Matrix3, Point, RgbImage, Scale } from '../../vision/types.ts';

const WIDTH_PX = 640;
const HEIGHT_PX = 480;

type Colour = [number, number, number];

/** A repeatable number in 0…1 for a pixel. */
const noise = (x: number, y: number): number => {
  const h = Math.imul(Math.imul(x, 374761393) ^ Math.imul(y, 668265263), 1274126177);
  return ((h ^ (h >>> 15)) >>> 0) / 4294967296;
};

/** A picture of 640 × 480 px, each pixel the mean of four places, with a little noise. */
function picture(colourAt: (x: number, y: number) => Colour): DecodedPhoto {
  const rgb: RgbImage = {
    widthPx: WIDTH_PX,
    heightPx: HEIGHT_PX,
    data: new Uint8Array(3 * WIDTH_PX * HEIGHT_PX),
  };
  const gray = { widthPx: WIDTH_PX, heightPx: HEIGHT_PX, data: new Float32Array(WIDTH_PX * HEIGHT_PX) };
  for (let y = 0; y < HEIGHT_PX; y++) {
    for (let x = 0; x < WIDTH_PX; x++) {
      const i = y * WIDTH_PX + x;
      const sum = [0, 0, 0];
      for (const [dx, dy] of [
        [-0.25, -0.25],
        [0.25, -0.25],
        [-0.25, 0.25],
        [0.25, 0.25],
      ] as const) {
        const colour = colourAt(x + dx, y + dy);
        for (let c = 0; c < 3; c++) sum[c]! += colour[c]! / 4;
      }
      for (let c = 0; c < 3; c++)
        rgb.data[3 * i + c] = Math.max(0, Math.min(255, sum[c]! + 10 * (noise(x + 1000 * c, y) - 0.5)));
      gray.data[i] = rgb.data[3 * i + 1]! / 255;
    }
  }
  return {
    rgb,
    gray,
    originalWidthPx: WIDTH_PX,
    originalHeightPx: HEIGHT_PX,
    decodeScale: 1,
    focalLength35mm: null,
  };
}

/** Two millimetres a pixel, seen from straight above. */
const SCALE: Scale = {
  kind: 'manual',
  variety: 'two-points',
  homographyPxToMm: [2, 0, 0, 0, 2, 0, 0, 0, 1],
  homographyCovariance: null,
  mmPerPx: 2,
  tiltDeg: 0,
  relativeUncertainty: 0.002,
  relativeUncertaintyPerReferenceLength: 0,
  outlinePx: [
    { x: 300, y: 240 },
    { x: 340, y: 240 },
  ],
  radialDistortion: null,
  confidence: 1,
  advice: [],
};

const measure = (photo: DecodedPhoto, cornersPx: [Point, Point, Point, Point] | null = null) =>
  measureOutline({ photo, scale: SCALE, clothPx: null, stitchWidthMm: null, cornersPx });

const floor = (x: number, y: number): Colour =>
  Math.floor(x / 23) % 2 ? [150, 120, 90] : [160, 130, 98 + (y % 3)];
const yarn: Colour = [90, 60, 140];
const inside = (x: number, y: number) => x > 120.5 && x < 520.5 && y > 90.5 && y < 390.5; // 800 × 600 mm

describe('the sizes of an outline', () => {
  // An upright trapezoid: 100 wide at the bottom, 120 at the top, 80 high.
  const trapezoid = spacedEvenly(
    [
      { x: -60, y: 0 },
      { x: 60, y: 0 },
      { x: 50, y: 80 },
      { x: -50, y: 80 },
    ],
    1,
  );

  it('are those of plain geometry', () => {
    const sizes = outlineSizes(trapezoid);
    expect(sizes.area).toBeCloseTo(8800, -1);
    expect(sizes.widths.find(({ at }) => at === 0.5)!.length).toBeCloseTo(110, 1);
    expect(sizes.heights.find(({ at }) => at === 0.5)!.length).toBeCloseTo(80, 1);
    expect(sizes.topMinusBottom).toBeCloseTo(20, 0);
    const top = 90 - (Math.atan2(10, 80) * 180) / Math.PI;
    expect(sizes.anglesDeg[0]).toBeCloseTo(top, 0);
    expect(sizes.anglesDeg[2]).toBeCloseTo(180 - top, 0);
    expect(sizes.wave).toBeLessThan(0.2);
  });

  it('do not change when the picture is turned a little', () => {
    const a = (12 * Math.PI) / 180;
    const turned = trapezoid.map(({ x, y }) => ({
      x: x * Math.cos(a) - y * Math.sin(a),
      y: x * Math.sin(a) + y * Math.cos(a),
    }));
    const middle = (points: Point[]) => outlineSizes(points).widths[3]!.length;
    expect(middle(turned)).toBeCloseTo(middle(trapezoid), 0);
  });

  it('need an outline', () => {
    expect(() => outlineSizes([{ x: 0, y: 0 }])).toThrow(RangeError);
  });
});

describe('the outline of a piece', { timeout: 120_000 }, () => {
  it('is measured to half a per cent on a striped floor', () => {
    const piece = measure(picture((x, y) => (inside(x, y) ? yarn : floor(x, y))));
    expect(piece.status).toBe('ok');
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.005);
    expect(Math.abs(piece.heightMm!.value / 600 - 1)).toBeLessThan(0.005);
    expect(piece.widths).toHaveLength(7);
    for (const { angleDeg } of piece.angles) expect(Math.abs(angleDeg.value - 90)).toBeLessThan(1.5);
  });

  it('ends in the middle of a blurred edge, though its colours are those of the gaps between stitches', () => {
    const plain: Colour = [120, 100, 80];
    const ribbed = (x: number, y: number): Colour => ((x + y) % 9 < 4 ? [172, 155, 115] : [225, 210, 150]);
    const sharp = (x: number, y: number): Colour => (inside(x, y) ? ribbed(x, y) : plain);
    const near = [-3, -1.5, 0, 1.5, 3];
    const blurred = (x: number, y: number): Colour => {
      const sum: Colour = [0, 0, 0];
      for (const dx of near)
        for (const dy of near) sharp(x + dx, y + dy).forEach((v, c) => (sum[c]! += v / near.length ** 2));
      return sum;
    };
    const piece = measure(picture(blurred));
    expect(Math.abs(piece.widthMm!.value - 800)).toBeLessThan(2);
    expect(Math.abs(piece.heightMm!.value - 600)).toBeLessThan(2);
  });

  it('does not follow a yarn tail or a hook', () => {
    const tail = (x: number, y: number) => x >= 500 && x < 620 && Math.abs(y - 200 - 0.2 * (x - 500)) < 3;
    const hook = (x: number, y: number) => y > 380 && y < 450 && Math.abs(x - 300) < 4;
    const piece = measure(picture((x, y) => (inside(x, y) || tail(x, y) || hook(x, y) ? yarn : floor(x, y))));
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.006);
    expect(Math.abs(piece.heightMm!.value / 600 - 1)).toBeLessThan(0.006);
  });

  it('takes a border of another colour for part of the piece', () => {
    const border = (x: number, y: number) => inside(x, y) && !(x > 144 && x < 497 && y > 114 && y < 367);
    const piece = measure(
      picture((x, y) => (border(x, y) ? [220, 210, 60] : inside(x, y) ? yarn : floor(x, y))),
    );
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.006);
  });

  it('does not leave out a border in which no stitches were read', () => {
    const body = (x: number, y: number) => x > 165.5 && x < 475.5 && y > 135.5 && y < 345.5;
    const checks = (x: number, y: number): Colour =>
      (Math.floor(x / 8) + Math.floor(y / 8)) % 2 ? [70, 70, 75] : [150, 150, 155];
    const photo = picture((x, y) => (body(x, y) ? checks(x, y) : inside(x, y) ? [20, 20, 24] : floor(x, y)));
    const clothPx = [
      { x: 165, y: 135 },
      { x: 476, y: 135 },
      { x: 476, y: 346 },
      { x: 165, y: 346 },
    ];
    const piece = measureOutline({ photo, scale: SCALE, clothPx, stitchWidthMm: null, cornersPx: null });
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.006);
    expect(Math.abs(piece.heightMm!.value / 600 - 1)).toBeLessThan(0.006);
  });

  it('does not leave out a pale border on pale marble, whose looks the table has here and there as well', () => {
    const body = (x: number, y: number) => x > 145.5 && x < 495.5 && y > 115.5 && y < 365.5;
    const grey = (v: number, warm: number): Colour => [v, v - 4, v - warm];
    const stitches = (x: number, y: number): Colour =>
      grey(Math.floor(x / 3) % 2 && Math.floor(y / 4) % 2 ? 176 : 200, 12);
    const checks = (x: number, y: number): Colour =>
      (Math.floor(x / 8) + Math.floor(y / 8)) % 2 ? [60, 40, 90] : stitches(x, y);
    const marble = (x: number, y: number): Colour => {
      const vein = Math.abs(Math.sin(x / 31 + 2 * Math.sin(y / 47)) + Math.sin(y / 39 + x / 83));
      const speckle = (noise(Math.floor(x / 2), Math.floor(y / 2)) - 0.5) * (1 + Math.sin(x / 40 + y / 70));
      return grey(206 - 80 * Math.exp(-8 * vein) - 6 * Math.sin(x / 60) + 24 * speckle, 9);
    };
    const photo = picture((x, y) =>
      body(x, y) ? checks(x, y) : inside(x, y) ? stitches(x, y) : marble(x, y),
    );
    const clothPx = [
      { x: 145, y: 115 },
      { x: 496, y: 115 },
      { x: 496, y: 366 },
      { x: 145, y: 366 },
    ];
    const piece = measureOutline({ photo, scale: SCALE, clothPx, stitchWidthMm: null, cornersPx: null });
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.01);
    expect(Math.abs(piece.heightMm!.value / 600 - 1)).toBeLessThan(0.01);
  });

  it('lies below a sheet on it and above one beside it, though no stitches are read', () => {
    const sheetAt = (x: number, y: number): Scale => ({
      ...SCALE,
      kind: 'sheet',
      outlinePx: [
        { x, y },
        { x: x + 60, y },
        { x: x + 60, y: y + 80 },
        { x, y: y + 80 },
      ],
      relativeUncertainty: 0.003,
      // 1 mm nearer to the camera is 0.1 %
      workHeight: { meanMm: 2.7, sdMm: 2.4, faceHeightMm: 0.1, relativePerMm: -0.001 },
    });
    const widthBy = (scale: Scale) =>
      measureOutline({
        photo: picture((x, y) => (inside(x, y) ? yarn : floor(x, y))),
        scale,
        clothPx: null,
        stitchWidthMm: null,
        cornersPx: null,
      }).widthMm!;
    const [on, beside] = [widthBy(sheetAt(290, 200)), widthBy(sheetAt(30, 30))];
    // 1.5 mm below the sheet or 3.5 mm above the table: 5 mm, 0.5 %
    expect(on.value / beside.value).toBeGreaterThan(1.004);
    expect(on.value / beside.value).toBeLessThan(1.006);
    expect(on.standardUncertainty).toBeLessThan(beside.standardUncertainty);
  });

  it.each(['tape', 'ruler'] as const)(
    'doubts a size by a %s that is seen from as far off as a whole piece',
    (kind) => {
      const beside = [
        { x: 60, y: 20 },
        { x: 560, y: 20 },
        { x: 560, y: 28 },
        { x: 60, y: 28 },
      ];
      const by = (scale: Scale) =>
        measureOutline({
          photo: picture((x, y) => (inside(x, y) ? yarn : floor(x, y))),
          scale: { ...scale, kind, outlinePx: beside },
          clothPx: null,
          stitchWidthMm: null,
          cornersPx: null,
        }).advice.map(({ code }) => code);
      expect(by(SCALE)).toEqual(['tape-far-off']);
      const swatch: Scale = { ...SCALE, mmPerPx: 0.25, homographyPxToMm: [0.25, 0, 0, 0, 0.25, 0, 0, 0, 1] };
      expect(by(swatch)).not.toContain('tape-far-off');
    },
  );

  describe('beside a tape whose scale can be held against what else is seen', () => {
    const held = (isSurelyRead: boolean, spread = 0, stitches: StitchesSeen | null = null) => {
      const calls: { looks: number[]; beliefs: readonly LooksBelief[] }[] = [];
      const piece = measureOutline({
        photo: picture((x, y) => (inside(x, y) ? yarn : floor(x, y))),
        scale: {
          ...SCALE,
          kind: 'tape',
          // as if the table leant: the sides tell otherwise
          homographyPxToMm: [2, 0, 0, 0, 2, 0, 0, 0.0002, 1],
          heldAgainst: (looks, beliefs) => {
            calls.push({ looks: looks(SCALE), beliefs });
            const k = 2 * (1 + spread);
            const variations = [
              { homographyPxToMm: SCALE.homographyPxToMm, radialDistortion: 0, weight: 1 },
              { homographyPxToMm: [k, 0, 0, 0, k, 0, 0, 0, 1] as Matrix3, radialDistortion: 0, weight: 1 },
            ];
            return { ...SCALE, kind: 'tape', variations, isSurelyRead, relativeUncertainty: 0.002 + spread };
          },
          isSurelyRead,
        },
        clothPx: null,
        stitchWidthMm: null,
        stitches,
        cornersPx: null,
      });
      return { piece, calls, codes: piece.advice.map(({ code }) => code) };
    };

    it('goes by that scale, and vouches for it where the tape is surely read and the size well known', () => {
      const { piece, codes } = held(true);
      expect(Math.abs(piece.widthMm!.value - 800)).toBeLessThan(4);
      expect(codes).toEqual([]);
      expect(piece.status).toBe('ok');
      expect(held(false).codes).toEqual(['tape-far-off']);
    });

    it('says how to tell how the table leans where that is open', () => {
      expect(held(true, 0.013).codes).toEqual(['lean-unclear']);
      expect(held(false, 0.013).codes).toEqual(['size-uncertain', 'tape-far-off']);
    });

    it('holds it against both pairs of sides and their angle, then against lines of the floor as well', () => {
      const { calls } = held(true);
      // seen from straight above both pairs are alike and square to each other, and the boards are parallel
      expect(calls.map(({ looks }) => looks.length)).toEqual([3, 4]);
      for (const { looks, beliefs } of calls) {
        expect(Math.max(...looks.map(Math.abs))).toBeLessThan(0.01);
        for (const { sd } of beliefs) expect(sd).toHaveLength(looks.length);
      }
    });

    it('holds it against the stitches where they were read', () => {
      const places = Array.from({ length: 25 }, (_, i) => ({
        at: { x: 160 + 80 * (i % 5), y: 110 + 60 * Math.floor(i / 5) },
        stitch: { x: 4, y: 0 },
        row: { x: 0, y: -5 },
        weight: 1,
      }));
      const { calls } = held(true, 0, { places, isPlain: true });
      expect(calls.map(({ looks }) => looks.length)).toEqual([6, 7]);
      expect(Math.max(...calls[1]!.looks.map(Math.abs))).toBeLessThan(0.01);
      // rows run along the width: its ends are the sides that are as long as each other
      const even = (pair: 0 | 1) =>
        calls[0]!.beliefs.reduce((sum, { sd, share }) => sum + (sd[pair]! < 0.02 ? share : 0), 0);
      expect(even(1)).toBeGreaterThan(even(0) + 0.3);
    });
  });

  it('does not vouch for an edge of which a stretch runs far outside', () => {
    // A fold of what lies below, in the piece's own colour.
    const fold = (x: number, y: number) => x <= 121 && x > 121 - 40 * Math.max(0, 1 - Math.abs(y - 230) / 50);
    const piece = measure(picture((x, y) => (inside(x, y) || fold(x, y) ? yarn : floor(x, y))));
    expect(piece.edgeWaveMm).toBeGreaterThan(7);
    expect(piece.advice.map(({ code }) => code)).toEqual(['edge-unclear']);
    expect(piece.clearShare).toBeGreaterThan(0.8);
  });

  it('does not vouch for a single side that wanders, and says which size is less sure for it', () => {
    // Shadow on every other stripe of a table, in the piece's own colour, below the lower side.
    const shadow = (x: number, y: number) =>
      y >= 390 && y < 406 && x > 120 && x < 520 && Math.floor(x / 40) % 2 === 0;
    const piece = measure(picture((x, y) => (inside(x, y) || shadow(x, y) ? yarn : floor(x, y))));
    expect(piece.advice.map(({ code }) => code)).toEqual(['edge-unclear']);
    expect(piece.heightMm!.standardUncertainty).toBeGreaterThan(1.3 * piece.widthMm!.standardUncertainty);
  });

  it.each([
    [15, []],
    [40, ['rim-unlike']],
  ])('has an even margin for its border, and asks where that is too deep for one: %d px', (px, expected) => {
    const margin = (x: number, y: number) =>
      x > 120.5 - px && x < 520.5 + px && y > 90.5 - px && y < 390.5 + px;
    const piece = measure(
      picture((x, y) => (inside(x, y) ? yarn : margin(x, y) ? [60, 120, 70] : floor(x, y))),
    );
    expect(piece.advice.map(({ code }) => code)).toEqual(expected);
    expect(Math.abs(piece.widthMm!.value / (800 + 4 * px) - 1)).toBeLessThan(0.01);
  });

  it('does not take the rug under a piece for the piece', () => {
    const rug = (x: number, y: number) => x > 60 && x < 560 && y > 40 && y < 460;
    const piece = measure(picture((x, y) => (inside(x, y) ? yarn : rug(x, y) ? [60, 120, 70] : floor(x, y))));
    // Either the piece itself, or an outline that is not vouched for.
    if (piece.status === 'ok') expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.006);
    else expect(piece.advice.length).toBeGreaterThan(0);
  });

  it('is found away from the middle of the picture, too, and shown to be checked', () => {
    // A small piece to one side of a table of two colours, of which the middle shows one.
    const aside = (x: number, y: number) => x > 350.5 && x < 560.5 && y > 60.5 && y < 220.5;
    const table = (x: number, y: number): Colour => (x + 0.6 * y < 420 ? [150, 120, 90] : [186, 152, 118]);
    const piece = measure(picture((x, y) => (aside(x, y) ? yarn : table(x, y))));
    expect(piece.status).not.toBe('refused');
    expect(Math.abs(piece.widthMm!.value / 420 - 1)).toBeLessThan(0.01);
    expect(Math.abs(piece.heightMm!.value / 320 - 1)).toBeLessThan(0.01);
  });

  it('is refused where a striped piece leaves the picture: one of its stripes is no piece', () => {
    const striped = (x: number, y: number): Colour =>
      x > 100 && x < 540 && y > 80 ? (Math.floor((y - 80) / 60) % 2 ? [60, 90, 150] : yarn) : floor(x, y);
    const cut = measure(picture(striped));
    expect(cut.status).toBe('refused');
  });

  it('is refused with advice when the piece leaves the picture, or nothing stands out', () => {
    const cut = measure(picture((x, y) => (x > 120 && y > 90 && y < 390 ? yarn : floor(x, y))));
    expect(cut.status).toBe('refused');
    expect(cut.advice[0]!.code).toBe('piece-cut-off');
    const bare = measure(picture(floor));
    expect(bare.status).not.toBe('ok');
    expect(bare.advice.length).toBeGreaterThan(0);
  });

  it('goes by the corners that the maker sets', () => {
    const alike = (x: number, y: number): Colour => (inside(x, y) ? [152, 122, 100] : [150, 120, 90]);
    const piece = measure(picture(alike), [
      { x: 120, y: 90 },
      { x: 520, y: 90 },
      { x: 520, y: 390 },
      { x: 120, y: 390 },
    ]);
    expect(Math.abs(piece.widthMm!.value / 800 - 1)).toBeLessThan(0.03);
    expect(Math.abs(piece.heightMm!.value / 600 - 1)).toBeLessThan(0.03);
  });
});
