import { describe, expect, it } from 'vitest';
import { judge, type Evidence } from '../../vision/judge.ts';
import { meanPitches } from '../../vision/gauge.ts';
import type { Point, Scale } from '../../vision/types.ts';
import { evenLattice, type EvenLatticeOptions } from './evenLattice.ts';
import { octaveOdds } from './octaveOdds.ts';

const scale: Scale = {
  kind: 'card',
  variety: 'id-1',
  homographyPxToMm: [0.5, 0, 0, 0, 0.5, 0, 0, 0, 1],
  homographyCovariance: null,
  mmPerPx: 0.5,
  tiltDeg: 5,
  relativeUncertainty: 0.004,
  relativeUncertaintyPerReferenceLength: 0.001,
  outlinePx: [
    { x: 10, y: 20 },
    { x: 181, y: 20 },
    { x: 181, y: 128 },
    { x: 10, y: 128 },
  ],
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
    consensus: { support: 4, looks: 4, dissent: [] },
    octaves: octaveOdds(0.97),
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
    isCovered: () => false,
    ...over,
  };
}

/** Settled where the stitch was named, not where it was only seen. */
const LIKELY = octaveOdds(0.88, [{ stitch: 1, row: 0.5, weight: 0.12 }]);

/** No other look at the cloth agrees. */
const ALONE = { support: 0, looks: 4, dissent: [] };

/** Most other looks read something else. */
const CONTESTED = { support: 1, looks: 4, dissent: [] };

/** It is open whether a row is one or two. */
const OPEN = octaveOdds(0.7, [{ stitch: 1, row: 0.5, weight: 0.25 }]);

/** It is open whether the lattice is one of the cloth at all. */
const ASTRAY = octaveOdds(0.6, [{ stitch: 1, row: 0.5, weight: 0.05 }]);

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
    ['looks-disagree', evidence({ quality: { rowAmplitude: 0.3 } }, { consensus: ALONE, octaves: OPEN })],
    // faint, followed in part, and read otherwise by other looks
    [
      'stitches-unclear',
      evidence(
        { quality: { rowAmplitude: 0.2, rowAgreement: 0.5 } },
        { consensus: CONTESTED, octaves: OPEN },
      ),
    ],
  ])('refuses: %s', (code, e) => {
    expect(judge(e).status).toBe('refused');
    expect(codes(e)).toContain(code);
  });

  it.each<[string, Evidence]>([
    ['few-repeats', evidence({ quality: { repeats: { stitches: 4, rows: 12 } } })],
    ['readings-disagree', evidence({}, { octaves: ASTRAY })],
    ['readings-disagree', evidence({}, { consensus: ALONE, octaves: LIKELY, options: { stitch: 'sc' } })],
    ['two-readings', evidence({}, { octaves: OPEN })],
    ['two-readings', evidence({ stitchPitchPx: 8, rowPitchPx: 8.4 }, { options: { stitch: 'stockinette' } })],
    ['wide-uncertainty', evidence({ quality: { stitchRelativeUncertainty: 0.05 } })],
    ['wide-uncertainty', evidence({}, { scale: { ...scale, relativeUncertainty: 0.03 } })],
    ['steep-tilt', evidence({}, { scale: { ...scale, tiltDeg: 48 } })],
    ['unlikely-gauge', evidence({}, { flat: { ...evidence().flat, pxPerMm: 0.1 } })],
    ['unusual-for-yarn', evidence({}, { options: { expectedStitchesPer10cm: { low: 33, high: 40 } } })],
    ['unlike-planned', evidence({}, { options: { plannedGauge: { stitchesPer10cm: 12, rowsPer10cm: 12 } } })],
    ['count-disagrees', evidence({}, { countFactor: { stitch: 1.3, row: 1 } })],
    ['reference-unsure', evidence({}, { scale: { ...scale, kind: 'card', confidence: 0.6 } })],
    ['reference-unsure', evidence({}, { scale: { ...scale, kind: 'ruler', confidence: 0.7 } })],
  ])('doubts: %s', (code, e) => {
    expect(judge(e).status).toBe('unsure');
    expect(codes(e)).toEqual([code]);
  });

  it.each<[string, EvenLatticeOptions]>([
    ['stitches-partly-unclear', { quality: { rowAgreement: 0.45 } }],
    ['low-relief', { quality: { rowAmplitude: 0.15 } }],
    ['unfamiliar-fabric', { looksLike: UNKNOWN }],
  ])('says %s, but trusts the reading where its count is settled', (code, lattice) => {
    const e = evidence(lattice);
    expect(codes(e)).toEqual([code]);
    expect(judge(e).status).toBe('ok');
    expect(judge({ ...e, octaves: OPEN }).status).toBe('unsure');
    expect(codes({ ...e, octaves: OPEN })).toContain(code);
  });

  it('shows what is settled but poorly seen as doubtful, where it would be refused if it were not settled', () => {
    const poor = evidence({ quality: { rowAmplitude: 0.2, rowAgreement: 0.5 } }, { consensus: CONTESTED });
    expect(judge(poor).status).toBe('unsure');
    expect(judge({ ...poor, octaves: OPEN }).status).toBe('refused');
  });

  it('refuses, doubts or trusts what no other look agrees with, the surer the count is', () => {
    const alone = evidence({ quality: { rowAmplitude: 0.3 } }, { consensus: ALONE });
    expect(judge({ ...alone, octaves: OPEN }).status).toBe('refused');
    expect(judge({ ...alone, octaves: LIKELY, options: { stitch: 'sc' } }).status).toBe('unsure');
    expect(judge(alone).status).toBe('ok');
  });

  it('refuses a gauge that no yarn makes where the count is not settled, and doubts it where it is', () => {
    const huge = { flat: { ...evidence().flat, pxPerMm: 0.1 } };
    expect(judge(evidence({}, huge)).status).toBe('unsure');
    expect(judge(evidence({}, { ...huge, octaves: OPEN })).status).toBe('refused');
    expect(codes(evidence({}, { ...huge, octaves: OPEN }))).toContain('unlikely-gauge');
  });

  it('wants a count settled more surely where the stitch was not named', () => {
    expect(codes(evidence({}, { octaves: LIKELY }))).toEqual(['two-readings']);
    expect(judge(evidence({}, { octaves: LIKELY, options: { stitch: 'sc' } })).status).toBe('ok');
  });

  it('asks for the stitch only where it was not named', () => {
    const message = (e: Evidence) => judge(e).advice[0].message;
    expect(message(evidence({}, { octaves: OPEN }))).toContain('name the stitch');
    expect(message(evidence({}, { octaves: OPEN, options: { stitch: 'sc' } }))).not.toContain('name');
  });

  it('stays refused whatever else is doubtful', () => {
    const e = evidence({ quality: { stitchAgreement: 0.2 } }, { octaves: ASTRAY });
    expect(judge(e).status).toBe('refused');
    expect(codes(e)).toEqual(expect.arrayContaining(['stitches-unclear', 'readings-disagree']));
  });

  it('believes what the maker counted: no other reading is put up against it', () => {
    const pointsPx: [Point, Point] = [
      { x: 60, y: 60 },
      { x: 110, y: 60 },
    ];
    const corrections = [{ axis: 'stitches' as const, count: 5, pointsPx }];
    const unknown: EvenLatticeOptions = { looksLike: UNKNOWN };
    expect(judge(evidence(unknown, { octaves: OPEN })).status).toBe('unsure');
    expect(judge(evidence(unknown, { octaves: null, consensus: null, options: { corrections } }))).toEqual({
      status: 'ok',
      advice: [],
    });
  });

  it('does not mind that the maker counts halves or doubles of what the photo shows', () => {
    expect(judge(evidence({}, { countFactor: { stitch: 2.05, row: 0.5 } })).status).toBe('ok');
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
