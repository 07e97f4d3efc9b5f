import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { findScale } from '../../vision/findScale.ts';
import { findCards } from '../../vision/scale/findCard.ts';
import { distort, mmPerPxAt, undistort } from '../../vision/scale/lens.ts';
import { findSheet } from '../../vision/scale/findSheet.ts';
import { sheetLayout } from '../../vision/scale/sheetLayout.ts';
import { sightThings } from '../../vision/sight/sightCards.ts';
import type { DecodedPhoto, FindScaleOptions, Point } from '../../vision/types.ts';

type Manual = NonNullable<FindScaleOptions['manual']>;

const FLAT = { mean: 0, sd: 0 };

const cardsIn = async (photo: DecodedPhoto) =>
  findCards(photo, { workHeightMm: FLAT, sighted: (await sightThings(photo.rgb)).cards });

/** A drawing seen straight from above, slightly blurred as a photo is. */
async function drawn(content: string, background = '#cfc7b8'): Promise<DecodedPhoto> {
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="1200" height="900"><rect width="1200" height="900" fill="${background}"/>${content}</svg>`;
  return decodePhoto(await sharp(Buffer.from(svg)).blur(0.8).png().toBuffer());
}

/** ISO/IEC 7810 ID-1: 85.60 × 53.98 mm, corners of 3.18 mm, at `pxPerMm` about (600, 450). */
const card = (pxPerMm: number, degrees: number, radiusMm = 3.18): string =>
  `<rect x="${-42.8 * pxPerMm}" y="${-26.99 * pxPerMm}" width="${85.6 * pxPerMm}" height="${53.98 * pxPerMm}" rx="${radiusMm * pxPerMm}" fill="#2b5d8c" transform="translate(600 450) rotate(${degrees})"/>`;

describe('findCards', () => {
  it.each([0, 17, 45, 90, 133])('finds a card turned by %i° to within 0.3 %%', async (degrees) => {
    const [best] = await cardsIn(await drawn(card(5, degrees)));
    expect(best!.confidence).toBeGreaterThan(0.5);
    const scale = mmPerPxAt(
      best!.pose.homographyPxToMm,
      best!.pose.k1,
      { x: 600, y: 450 },
      { widthPx: 1200, heightPx: 900 },
    );
    expect(Math.abs(scale * 5 - 1)).toBeLessThan(0.003);
    expect(best!.pose.tiltDeg).toBeLessThan(4);
  });

  it('takes no sharp-cornered rectangle of the same shape for a card', async () => {
    const [best] = await cardsIn(await drawn(card(5, 17, 0)));
    expect(best?.confidence ?? 0).toBeLessThan(0.5);
  });

  it('takes no square for a card', async () => {
    const square = '<rect x="300" y="200" width="400" height="400" rx="15" fill="#2b5d8c"/>';
    const [best] = await cardsIn(await drawn(square));
    expect(best?.confidence ?? 0).toBeLessThan(0.5);
  });
});

describe('findScale', () => {
  it('refuses an empty table with advice', async () => {
    const result = await findScale(await drawn(''), { reference: 'auto' });
    expect(result.scale).toBeNull();
    expect(result.advice[0]!.code).toBe('no-reference');
  });

  it('takes two points and a length', async () => {
    const photo = await drawn('');
    const { scale } = await findScale(photo, {
      reference: 'manual',
      manual: {
        type: 'two-points',
        pointsPx: [
          { x: 100, y: 100 },
          { x: 700, y: 900 },
        ],
        lengthMm: 100,
      },
    });
    // The work lies some mm above what was marked, so it is a little nearer the camera.
    expect(scale!.mmPerPx).toBeLessThan(0.1);
    expect(scale!.mmPerPx).toBeGreaterThan(0.093);
    // Two points do not show tilt: that alone is worth 2 %, and more away from them.
    expect(scale!.relativeUncertainty).toBeGreaterThan(0.02);
    expect(scale!.relativeUncertaintyPerReferenceLength).toBeGreaterThan(0.1);
  });

  it('takes four corners of a rectangle', async () => {
    const photo = await drawn('');
    const { scale } = await findScale(photo, {
      reference: 'manual',
      manual: {
        type: 'rectangle',
        cornersPx: [
          { x: 300, y: 250 },
          { x: 900, y: 250 },
          { x: 900, y: 650 },
          { x: 300, y: 650 },
        ],
        widthMm: 150,
        heightMm: 100,
      },
    });
    // The work lies some mm above what was marked, so it is a little nearer the camera.
    expect(scale!.mmPerPx).toBeLessThan(0.25);
    expect(scale!.mmPerPx).toBeGreaterThan(0.24);
  });

  const twoPoints = (x0: number, y0: number, x1: number, y1: number, lengthMm: number): Manual => ({
    type: 'two-points',
    pointsPx: [
      { x: x0, y: y0 },
      { x: x1, y: y1 },
    ],
    lengthMm,
  });
  const corners = (places: [number, number][], widthMm: number, heightMm: number): Manual => ({
    type: 'rectangle',
    cornersPx: places.map(([x, y]) => ({ x, y })) as [Point, Point, Point, Point],
    widthMm,
    heightMm,
  });
  it.each<[string, Manual]>([
    ['points-too-close', twoPoints(5, 5, 6, 6, 10)],
    ['length-senseless', twoPoints(5, 5, 600, 6, -1)],
    ['point-outside', twoPoints(5, 5, 60_000, 6, 10)],
    // prettier-ignore
    ['corners-cross', corners([[300, 250], [900, 650], [900, 250], [300, 650]], 150, 100)],
    // Seen from ever so far off to a side, a sheet four hundred times as long as it is wide might look like this.
    // prettier-ignore
    ['corners-unlike-size', corners([[300, 250], [900, 250], [900, 650], [300, 650]], 4000, 10)],
  ])('says what is wrong with marks that make no sense: %s', async (code, manual) => {
    const photo = await drawn('');
    let error: unknown;
    try {
      await findScale(photo, { reference: 'manual', manual });
    } catch (thrown) {
      error = thrown;
    }
    expect(error).toMatchObject({ name: 'VisionError', code: 'bad-option', reason: { code } });
  });
});

describe('findSheet', () => {
  const layout = sheetLayout('a4');
  const svg = (): string =>
    `<g transform="translate(200 20) scale(2.9)"><rect width="210" height="297" fill="#fff"/>${layout.fiducials
      .map(({ cornersMm, cells }) =>
        cells
          .flatMap((row, j) =>
            row.map((v, i) =>
              v
                ? ''
                : `<rect x="${cornersMm[0].x + i * 2.25}" y="${cornersMm[0].y + j * 2.25}" width="2.26" height="2.26"/>`,
            ),
          )
          .join(''),
      )
      .join('')}</g>`;

  it('reads the printed sheet to within 0.2 %, and takes the measured check line as a correction', async () => {
    const photo = await drawn(svg());
    const plain = findSheet(photo, { workHeightMm: FLAT })!;
    expect(plain.variety).toBe('sheet-a4');
    const at = (s: typeof plain): number =>
      mmPerPxAt(s.homographyPxToMm, s.radialDistortion, { x: 504, y: 325 }, photo.rgb);
    expect(Math.abs(at(plain) * 2.9 - 1)).toBeLessThan(0.002);
    const shrunk = findSheet(photo, { workHeightMm: FLAT, checkLineMm: 97 })!;
    expect(at(shrunk) / at(plain)).toBeCloseTo(0.97, 6);
    expect(plain.advice.map((a) => a.code)).toContain('sheet-unchecked');
    expect(shrunk.advice).toEqual([]);
  });
});

describe('lens', () => {
  it('takes out the distortion that it puts in', () => {
    const size = { widthPx: 1000, heightPx: 800 };
    const p = { x: 40, y: 700 };
    const back = undistort(distort(p, size, -0.04), size, -0.04);
    expect(back.x).toBeCloseTo(p.x, 6);
    expect(back.y).toBeCloseTo(p.y, 6);
  });
});

describe('findPapers', () => {
  /** A printed sheet on a striped cloth, 3 px to the mm. */
  const sheet = (widthMm: number, heightMm: number): string => {
    const stripes = `<pattern id="c" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(40)"><rect width="8" height="8" fill="#d9c4a8"/><rect width="4" height="8" fill="#8c2f3a"/></pattern>`;
    const print = Array.from(
      { length: 9 },
      (_, i) =>
        `<rect x="${-widthMm / 2 + 22}" y="${-30 + 7 * i}" width="${widthMm - 44}" height="1.2" fill="#333"/>`,
    ).join('');
    return `<defs>${stripes}</defs><rect width="1200" height="900" fill="url(#c)"/><g transform="translate(600 450) rotate(7) scale(3)"><rect x="${-widthMm / 2}" y="${-heightMm / 2}" width="${widthMm}" height="${heightMm}" fill="#f4f2ec"/>${print}</g>`;
  };

  it('finds a sheet on a striped cloth once its size is told', async () => {
    // ISO 216: A5 is 148 × 210 mm.
    const photo = await drawn(sheet(210, 148));
    const { scale } = await findScale(photo, { reference: 'paper', paperSize: 'a5' });
    expect(scale!.variety).toBe('a5');
    // Up to 4 ± 2 mm of cloth lie between the sheet and the work.
    expect(Math.abs(scale!.mmPerPx * 3 - 1)).toBeLessThan(0.02);
  });

  it('takes no pale ribbed cloth of the same shape for paper', async () => {
    const ribs = `<defs><pattern id="ribs" width="14" height="10" patternUnits="userSpaceOnUse"><rect width="14" height="10" fill="#dfe8ea"/><rect width="5" height="10" fill="#b9c4c8"/><rect width="14" height="3" fill="#c6d0d4"/></pattern></defs>`;
    const cloth = `${ribs}<rect x="-297" y="-210" width="594" height="420" fill="url(#ribs)" transform="translate(600 450) rotate(8)"/>`;
    const { scale } = await findScale(await drawn(cloth, '#5a4636'), { reference: 'paper', paperSize: 'a4' });
    expect(scale).toBeNull();
  });

  it('asks which it is where A4 and A5 look alike', async () => {
    const { scale, others, advice } = await findScale(await drawn(sheet(210, 148)), { reference: 'paper' });
    expect(scale).toBeNull();
    expect(advice.map((a) => a.code)).toEqual(['which-paper']);
    expect(others.map((s) => s.variety)).toEqual(expect.arrayContaining(['a4', 'a5']));
  });
});
