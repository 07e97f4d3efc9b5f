import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { rimShifts } from '../../vision/scale/cardRim.ts';
import { fitSide, type SideFit } from '../../vision/scale/edgeFit.ts';
import { evenRegions } from '../../vision/scale/evenRegions.ts';
import { CARD_MM, findCards } from '../../vision/scale/findCard.ts';
import { applyHomography, distance, type Quad } from '../../vision/scale/geometry.ts';
import { otherTilt, type PoseFit } from '../../vision/scale/poseFit.ts';
import { quickFit } from '../../vision/scale/quickSides.ts';
import { findSegments } from '../../vision/scale/segments.ts';
import { sightThings } from '../../vision/sight/sightCards.ts';
import type { DecodedPhoto, Matrix3, Point, RgbImage } from '../../vision/types.ts';

const FLAT = { mean: 0, sd: 0 };

const cardsIn = async (photo: DecodedPhoto) =>
  findCards(photo, { workHeightMm: FLAT, sighted: (await sightThings(photo.rgb)).cards });

async function drawn(content: string, blur = 0.8): Promise<DecodedPhoto> {
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="800" height="600"><rect width="800" height="600" fill="#cfc7b8"/>${content}</svg>`;
  return decodePhoto(await sharp(Buffer.from(svg)).blur(blur).png().toBuffer());
}

const PX_PER_MM = 3;
const AT = { x: 400, y: 300 };

/** A card of true shape, turned about the middle of the picture, with whatever is printed on it. */
function card(degrees: number, fill: string, print = ''): string {
  const w = CARD_MM.widthMm * PX_PER_MM;
  const h = CARD_MM.heightMm * PX_PER_MM;
  return `<clipPath id="c"><rect width="${w}" height="${h}" rx="${CARD_MM.cornerRadiusMm * PX_PER_MM}"/></clipPath><g transform="translate(${AT.x} ${AT.y}) rotate(${degrees}) translate(${-w / 2} ${-h / 2})"><g clip-path="url(#c)"><rect width="${w}" height="${h}" fill="${fill}"/>${print}</g></g>`;
}

function cornersAt(degrees: number): Quad {
  const t = (degrees * Math.PI) / 180;
  const x = (CARD_MM.widthMm * PX_PER_MM) / 2;
  const y = (CARD_MM.heightMm * PX_PER_MM) / 2;
  return [
    [-x, -y],
    [x, -y],
    [x, y],
    [-x, y],
  ].map(([u, v]) => ({
    x: AT.x + u! * Math.cos(t) - v! * Math.sin(t) - 0.5,
    y: AT.y + u! * Math.sin(t) + v! * Math.cos(t) - 0.5,
  })) as Quad;
}

/** Farthest that any true corner lies from the nearest corner of a quadrilateral, px. */
const farthest = (quad: readonly Point[], truth: readonly Point[]): number =>
  Math.max(...truth.map((t) => Math.min(...quad.map((q) => distance(q, t)))));

const checks = (size: number, colour: string): string => {
  let out = '';
  for (let x = 0; x < 800; x += 2 * size)
    for (let y = 0; y < 600; y += 2 * size)
      out += `<rect x="${x}" y="${y}" width="${size}" height="${size}" fill="${colour}"/><rect x="${x + size}" y="${y + size}" width="${size}" height="${size}" fill="${colour}"/>`;
  return out;
};

const bars = (count: number, fill: string): string => {
  const w = CARD_MM.widthMm * PX_PER_MM;
  return Array.from(
    { length: count },
    (_, i) =>
      `<rect x="${(w * i) / count}" width="${(0.5 * w) / count}" height="${CARD_MM.heightMm * PX_PER_MM}" fill="${fill}"/>`,
  ).join('');
};

describe('findCards, where much else is to be seen', () => {
  it.each([
    ['a plain card on checks', checks(15, '#1d4f86') + card(23, '#d8b04a'), 23],
    ['a striped card', card(-12, '#2c8a4b', bars(6, '#f2f0e6')), -12],
    ['a card on checks as large as itself', checks(170, '#23395b') + card(8, '#c94f6d'), 8],
    [
      'a card with a covered corner',
      card(30, '#30507a') + '<circle cx="525" cy="295" r="26" fill="#caa17f"/>',
      30,
    ],
  ])('finds %s', async (_, content, degrees) => {
    const [best] = await cardsIn(await drawn(content));
    expect(best!.confidence).toBeGreaterThan(0.7);
    expect(farthest(best!.quad, cornersAt(degrees))).toBeLessThan(2.5);
  });

  it('finds none on checks alone', async () => {
    const [best] = await cardsIn(await drawn(checks(60, '#1d4f86')));
    expect(best?.confidence ?? 0).toBeLessThan(0.5);
  });
});

describe('findSegments', () => {
  it('follows an edge although another runs beside it', async () => {
    const content =
      '<rect x="200" y="150" width="400" height="300" fill="#444"/><rect x="196" y="150" width="4" height="300" fill="#999"/>';
    const { rgb } = await drawn(content, 0.5);
    const long = findSegments(rgb, { minLengthPx: 18, minGradient: 2.2, blurPx: 1 }).filter(
      (s) => s.lengthPx > 270 && Math.abs(s.dx) < 0.02 && s.a.x < 300,
    );
    expect(long.length).toBeGreaterThanOrEqual(1);
  });
});

describe('evenRegions', () => {
  it('outlines the even patch on checks to a few pixels, its covered corner included', async () => {
    const { rgb } = await drawn(
      checks(12, '#1d4f86') + card(30, '#d8b04a') + '<circle cx="525" cy="295" r="22" fill="#203040"/>',
    );
    const best = Math.min(...evenRegions(rgb, 60).map((q) => farthest(q, cornersAt(30))));
    expect(best).toBeLessThan(8);
  });
});

describe('quickFit', () => {
  it('moves a guess onto the edges near it', async () => {
    const { rgb } = await drawn(card(0, '#30507a'));
    const off = cornersAt(0).map((p, i) => ({ x: p.x + 4, y: p.y + (i < 2 ? -5 : 3) })) as Quad;
    const fit = quickFit(rgb, off, [8, 8, 8, 8])!;
    expect(farthest(fit.quad, cornersAt(0))).toBeLessThan(2.5);
    expect(Math.min(...fit.supports)).toBeGreaterThan(0.9);
    expect(fit.prolonged).toBe(0);
    expect(fit.flat).toBe(1);
  });

  it('sees that the sides of a check go on', async () => {
    const { rgb } = await drawn(checks(100, '#1d4f86'));
    const check: Quad = [
      { x: 199.5, y: 199.5 },
      { x: 299.5, y: 199.5 },
      { x: 299.5, y: 299.5 },
      { x: 199.5, y: 299.5 },
    ];
    expect(quickFit(rgb, check, [3, 3, 3, 3])!.prolonged).toBe(1);
  });
});

describe('fitSide', () => {
  it('places the edge of something light where it is, although blur spreads light and not its code', () => {
    // sRGB (IEC 61966-2-1) of an edge at x = 40.3 that was blurred in linear light.
    const encode = (v: number): number =>
      Math.round(255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055));
    const rgb: RgbImage = { widthPx: 80, heightPx: 80, data: new Uint8Array(3 * 80 * 80) };
    for (let y = 0; y < 80; y++) {
      for (let x = 0; x < 80; x++) {
        const light = 0.03 + 0.85 / (1 + Math.exp(1.7 * (40.3 - x)));
        rgb.data.fill(encode(light), 3 * (80 * y + x), 3 * (80 * y + x) + 3);
      }
    }
    const side = fitSide(rgb, { x: 40, y: 10 }, { x: 40, y: 70 }, 0, { searchPx: 4, insetShare: 0.05 })!;
    const mean = side.points.reduce((s, p) => s + p.point.x, 0) / side.points.length;
    expect(Math.abs(mean - 40.3)).toBeLessThan(0.1);
  });
});

/** A card seen from `distanceMm` straight above `x`, `y` of its own mm, at 3000 px focal length. */
function above(x: number, y: number, distanceMm: number): PoseFit {
  const focalPx = 3000;
  const k = focalPx / distanceMm;
  const faceMmToPx: Matrix3 = [k, 0, 999.5 - k * x, 0, k, 999.5 - k * y, 0, 0, 1].map(
    (v) => v * distanceMm,
  ) as Matrix3;
  return { faceMmToPx, focalPx } as PoseFit;
}

const SIZE = { widthPx: 2000, heightPx: 2000 };

describe('rimShifts', () => {
  const side = (inside: number, outside: number): SideFit =>
    ({ inside: [inside, inside, inside], outside: [outside, outside, outside] }) as unknown as SideFit;

  it('takes nothing off a card that the camera stands over: its cut sides are hidden', () => {
    const sides = [0, 1, 2, 3].map(() => side(220, 60));
    for (const shift of rimShifts(above(42.8, 27, 400), sides, CARD_MM, SIZE))
      expect(Math.hypot(shift.x, shift.y)).toBe(0);
  });

  it('takes the whole of the cut side off where it is as light as the face', () => {
    // 100 mm beside the card's right side at 400 mm: 0.76 × 100 ÷ 400 = 0.19 mm are seen, 7.5 px a mm.
    // The sRGB code of linear 0.45 is 178.
    const shifts = rimShifts(
      above(185.6, 27, 400),
      [0, 1, 2, 3].map(() => side(178, 60)),
      CARD_MM,
      SIZE,
    );
    expect(shifts[1]!.x).toBeCloseTo(0.19 * 7.5, 1);
    expect(shifts[3]!.x).toBeCloseTo(0, 9);
  });
});

describe('otherTilt', () => {
  it('keeps the middle where it is, and is its own inverse', () => {
    const t = 0.3;
    const f = 3000;
    // Tilted about its own x axis by t, 400 mm away.
    const [c, s] = [Math.cos(t), Math.sin(t)];
    const m: Matrix3 = [f, 999.5 * s, 999.5 * 400, 0, f * c + 999.5 * s, 999.5 * 400, 0, s, 400];
    const pose = { faceMmToPx: m, focalPx: f } as PoseFit;
    const mirrored = otherTilt(pose, SIZE, CARD_MM.widthMm, CARD_MM.heightMm);
    const middle = { x: CARD_MM.widthMm / 2, y: CARD_MM.heightMm / 2 };
    expect(distance(applyHomography(mirrored, middle), applyHomography(m, middle))).toBeLessThan(1e-6);
    const back = otherTilt({ ...pose, faceMmToPx: mirrored }, SIZE, CARD_MM.widthMm, CARD_MM.heightMm);
    back.forEach((v, i) => expect(v).toBeCloseTo(m[i]!, 5));
    expect(mirrored[7]).toBeLessThan(0);
  });
});

describe("a card that is seen but of its table's colour on one side", () => {
  it('is found by its other sides, and doubtful', async () => {
    const w = CARD_MM.widthMm * PX_PER_MM;
    // where it ends on the left something as dark begins
    const table = `<rect x="${AT.x - 1.3 * w}" y="60" width="${0.83 * w}" height="480" fill="#2a5a48"/>`;
    const photo = await drawn(`${table}${card(0, '#2a5a48')}`);
    const quad = cornersAt(0);
    const [found] = findCards(photo, {
      workHeightMm: FLAT,
      sighted: [{ quad, cardness: 0.9, straightness: 0.9 }],
    });
    expect(found && farthest(found.quad, quad)).toBeLessThan(4);
    expect(found!.confidence).toBeGreaterThan(0.5);
    expect(found!.confidence).toBeLessThanOrEqual(0.6);
  });
});
