import { describe, expect, it } from 'vitest';
import { judge, type Evidence } from '../../vision/judge.ts';
import { meanPitches } from '../../vision/gauge.ts';
import type { Point, Scale } from '../../vision/types.ts';
import { evenLattice, type EvenLatticeOptions } from './evenLattice.ts';

const scale: Scale = {
  kind: 'card',
  variety: 'id-1',
  homographyPxToMm: [0.5, 0, 0, 0, 0.5, 0, 0, 0, 1],
  homographyCovariance: null,
  mmPerPx: 0.5,
  tiltDeg: 5,
  relativeUncertainty: 0.004,
  relativeUncertaintyPerReferenceLength: 0.001,
  outlinePx: [],
  radialDistortion: null,
  confidence: 0.9,
  advice: [],
};

/** A reading without a fault, 10 × 10 stitches of 5 × 4 mm beside a card, changed as a test needs it. */
function evidence(lattice: EvenLatticeOptions = {}, over: Partial<Evidence> = {}): Evidence {
  const fit = evenLattice(lattice);
  const gray = { widthPx: 200, heightPx: 160, data: new Float32Array(200 * 160) };
  const same = <T>(p: T) => p;
  return {
    lattice: fit,
    fabric: {
      outlinePx: [],
      bounds: { left: 50, top: 40, width: 100, height: 80 },
      stitchPitchPx: 10,
      rowPitchPx: 8,
      rowDirectionDeg: 0,
      share: 0.25,
      looksLike: [],
      evidence: 0.5,
    },
    scale,
    options: {},
    countings: [{ stitch: 1, row: 1, weight: 1 }],
    consensus: { support: 4, looks: 4, dissent: [] },
    mean: meanPitches(fit),
    photo: {
      rgb: { widthPx: 200, heightPx: 160, data: new Uint8Array(3 * 200 * 160) },
      gray,
      originalWidthPx: 200,
      originalHeightPx: 160,
      decodeScale: 1,
      focalLength35mm: null,
    },
    flat: {
      gray,
      pxPerMm: 2,
      toRectified: same,
      toDecoded: same,
      allowed: { widthPx: 200, heightPx: 160, data: new Uint8Array(200 * 160).fill(255) },
    },
    ...over,
  };
}

/** Two looks that agree on rows twice as high. */
const HALF_THE_ROWS = { stitchFactor: 1, rowFactor: 2, votes: 2 };

/** One look of four strays, on its own. */
const MOST_LOOKS = { support: 3, looks: 4, dissent: [{ stitchFactor: 1, rowFactor: 1.3, votes: 1 }] };

/** Cloth that may be one of several fabrics. */
const VAGUE: EvenLatticeOptions['looksLike'] = [
  { stitch: 'hdc', weight: 0.6 },
  { stitch: 'stockinette', weight: 0.4 },
];

/** Cloth that may be anything. */
const UNKNOWN: EvenLatticeOptions['looksLike'] = [
  { stitch: 'sc', weight: 0.34 },
  { stitch: 'dc', weight: 0.33 },
  { stitch: 'garter', weight: 0.33 },
];

const codes = (e: Evidence) => judge(e).advice.map((a) => a.code);

describe('judge', () => {
  it('has nothing to say of a clear reading', () => {
    expect(judge(evidence())).toEqual({ status: 'ok', advice: [] });
  });

  it.each<[string, Evidence]>([
    ['stitches-too-small', evidence({ stitchPitchPx: 3, rowPitchPx: 3 })],
    ['too-few-repeats', evidence({ quality: { repeats: { stitches: 10, rows: 2.5 } } })],
    ['stitches-unclear', evidence({ quality: { stitchAgreement: 0.2 } })],
    [
      'looks-disagree',
      evidence({ quality: { rowAmplitude: 0.3 } }, { consensus: { support: 0, looks: 4, dissent: [] } }),
    ],
    // faint, followed in part, and read otherwise by other looks
    [
      'stitches-unclear',
      evidence(
        { quality: { rowAmplitude: 0.2, rowAgreement: 0.5 } },
        { consensus: { support: 1, looks: 4, dissent: [] } },
      ),
    ],
  ])('refuses: %s', (code, e) => {
    expect(judge(e).status).toBe('refused');
    expect(codes(e)).toContain(code);
  });

  it.each<[string, Evidence]>([
    ['few-repeats', evidence({ quality: { repeats: { stitches: 4, rows: 12 } } })],
    ['stitches-partly-unclear', evidence({ quality: { rowAgreement: 0.55 } }, { consensus: MOST_LOOKS })],
    ['low-relief', evidence({ quality: { rowAmplitude: 0.28 } }, { consensus: null })],
    ['readings-disagree', evidence({ quality: { stitchDisagreement: 0.3 } })],
    ['readings-disagree', evidence({}, { consensus: { support: 2, looks: 4, dissent: [HALF_THE_ROWS] } })],
    ['readings-disagree', evidence({}, { consensus: { support: 1, looks: 4, dissent: [] } })],
    [
      'readings-disagree',
      evidence({ quality: { rowAmplitude: 0.7 } }, { consensus: { support: 0, looks: 4, dissent: [] } }),
    ],
    ['two-readings', evidence({ rivals: [{ stitchFactor: 0.5, rowFactor: 1, weight: 0.6 }] })],
    [
      'two-readings',
      evidence(
        {},
        {
          countings: [
            { stitch: 1, row: 1, weight: 0.6 },
            { stitch: 1, row: 2, weight: 0.4 },
          ],
        },
      ),
    ],
    ['wide-uncertainty', evidence({ quality: { stitchRelativeUncertainty: 0.05 } })],
    ['steep-tilt', evidence({}, { scale: { ...scale, tiltDeg: 48 } })],
    ['unlikely-gauge', evidence({}, { flat: { ...evidence().flat, pxPerMm: 0.1 } })],
    ['count-disagrees', evidence({}, { countFactor: { stitch: 1.3, row: 1 } })],
    ['reference-unsure', evidence({}, { scale: { ...scale, confidence: 0.6 } })],
  ])('doubts: %s', (code, e) => {
    expect(judge(e).status).toBe('unsure');
    expect(codes(e)).toEqual([code]);
  });

  it('does not mind one stray look where the stitches stand out, but two of four', () => {
    const strays = [1.3, 0.8].map((rowFactor) => ({ stitchFactor: 1, rowFactor, votes: 1 }));
    const one = { support: 3, looks: 4, dissent: strays.slice(1) };
    expect(judge(evidence({}, { consensus: one })).status).toBe('ok');
    const two = { support: 2, looks: 4, dissent: strays };
    const fair = { quality: { stitchAmplitude: 0.45 }, looksLike: VAGUE };
    expect(codes(evidence(fair, { consensus: two }))).toEqual(['readings-disagree']);
    const faint = { quality: { stitchAmplitude: 0.35 }, looksLike: VAGUE };
    expect(codes(evidence(faint, { consensus: one }))).toEqual(['readings-disagree']);
  });

  it('does not mind strays of cloth that surely looks like one fabric, unless it is weak or they agree', () => {
    const strays = [1.3, 0.8].map((rowFactor) => ({ stitchFactor: 1, rowFactor, votes: 1 }));
    const two = { support: 2, looks: 4, dissent: strays };
    const clear = { quality: { stitchAmplitude: 0.35 } };
    expect(judge(evidence(clear, { consensus: two })).status).toBe('ok');
    expect(codes(evidence({ quality: { stitchAmplitude: 0.29 } }, { consensus: two }))).toContain(
      'readings-disagree',
    );
    const agreed = { ...two, dissent: [HALF_THE_ROWS] };
    expect(codes(evidence(clear, { consensus: agreed }))).toEqual(['readings-disagree']);
  });

  it.each<[string, EvenLatticeOptions]>([
    ['stitches-partly-unclear', { quality: { rowAgreement: 0.45 } }],
    ['low-relief', { quality: { rowAmplitude: 0.15 } }],
    ['unfamiliar-fabric', { looksLike: UNKNOWN }],
  ])('says %s, but trusts the reading where every other look agrees', (code, lattice) => {
    const e = evidence(lattice);
    expect(codes(e)).toEqual([code]);
    expect(judge(e).status).toBe('ok');
    expect(judge({ ...e, consensus: MOST_LOOKS }).status).not.toBe('ok');
  });

  it('minds half of the looks astray only where they agree on half or twice, when the stitches stand out strongly', () => {
    const strays = [1.3, 0.8].map((rowFactor) => ({ stitchFactor: 1, rowFactor, votes: 1 }));
    const astray = (support: number, dissent: typeof strays) =>
      judge(evidence({ quality: { rowAmplitude: 0.6 } }, { consensus: { support, looks: 4, dissent } }))
        .status;
    expect(astray(2, strays)).toBe('ok');
    expect(astray(1, strays)).toBe('unsure');
    expect(astray(2, [HALF_THE_ROWS])).toBe('unsure');
  });

  it('minds a rival that is neither half nor twice only where not all looks agree, or the fabric is unknown', () => {
    const rivals = [{ stitchFactor: 1.16, rowFactor: 0.86, weight: 0.7 }];
    expect(judge(evidence({ rivals })).status).toBe('ok');
    expect(codes(evidence({ rivals }, { consensus: MOST_LOOKS }))).toContain('two-readings');
    expect(codes(evidence({ rivals, looksLike: VAGUE }))).toContain('two-readings');
  });

  it('stays refused whatever else is doubtful', () => {
    const e = evidence({ quality: { stitchAgreement: 0.2, rowDisagreement: 0.5 } });
    expect(judge(e).status).toBe('refused');
    expect(codes(e)).toEqual(expect.arrayContaining(['stitches-unclear', 'readings-disagree']));
  });

  it('believes what the maker counted: no other reading is put up against it', () => {
    const doubtful: EvenLatticeOptions = {
      quality: { stitchDisagreement: 0.7 },
      rivals: [{ stitchFactor: 0.5, rowFactor: 1, weight: 0.9 }],
    };
    const pointsPx: [Point, Point] = [
      { x: 60, y: 60 },
      { x: 110, y: 60 },
    ];
    const corrections = [{ axis: 'stitches' as const, count: 5, pointsPx }];
    expect(judge(evidence(doubtful)).status).toBe('unsure');
    expect(judge(evidence(doubtful, { options: { corrections } })).status).toBe('ok');
  });

  it('does not mind that the maker counts halves or doubles of what the photo shows', () => {
    expect(judge(evidence({}, { countFactor: { stitch: 2.05, row: 0.5 } })).status).toBe('ok');
  });

  it('takes the change of counting into account when it compares readings', () => {
    // The wave found ridges; two rows are counted for each, as the reader's regression said.
    const ridges = evidence(
      { quality: { rowDisagreement: -Math.log(2) } },
      { countings: [{ stitch: 1, row: 2, weight: 1 }] },
    );
    expect(codes(ridges)).not.toContain('readings-disagree');
  });

  it('measures fineness in pixels of the photo as it was taken, not as it was decoded', () => {
    const small = evidence({ stitchPitchPx: 3, rowPitchPx: 3 });
    const shrunk = { ...small, photo: { ...small.photo, decodeScale: 0.5 } };
    expect(codes(shrunk)).not.toContain('stitches-too-small');
  });

  it('asks nothing of the scale when there is none', () => {
    const e = evidence({}, { scale: null, flat: { ...evidence().flat, pxPerMm: null } });
    expect(judge(e)).toEqual({ status: 'ok', advice: [] });
  });

  it('says what to do, in whole sentences', () => {
    for (const { code, message } of judge(
      evidence({ quality: { repeats: { stitches: 2, rows: 2 }, rowAgreement: 0.1, stitchDisagreement: 1 } }),
    ).advice) {
      expect(code).toMatch(/^[a-z]+(-[a-z]+)+$/);
      expect(message).toMatch(/^[A-Z].*\.$/);
    }
  });
});
