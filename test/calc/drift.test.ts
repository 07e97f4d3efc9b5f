import jstat from 'jstat';
import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';
import { describe, expect, it } from 'vitest';
import { drift, gaugeBands, gaugeTrend, type GaugeBand } from '../../calc/index.ts';

/** Seeded normal draws. */
function normals(seed: number) {
  const generator = xoroshiro128plus(seed);
  const uniform = (): number => Math.min(1 - 1e-12, Math.max(1e-12, uniformFloat64(generator)));
  return {
    uniform,
    normal: (): number => jstat.jStat.normal.inv(uniform(), 0, 1),
  };
}

interface Simulated {
  /** Each photo lies either way round, and nobody says which. */
  eitherWay?: boolean;
  /** Change of stitches per 10 cm over the piece, share. */
  change: number;
  /** Stated uncertainty ÷ true one: readers of photos are not always right about themselves. */
  overconfidence?: number;
}

/**
 * A piece as photographs show it: 5 to 12 bands over 90 rows in one or two photos, each with its own scale
 * error (0.5 %) and leftover perspective (0.4 %), each band read to 0.5–1 %.
 */
function simulate(seed: number, { change, overconfidence = 1, eitherWay = false }: Simulated): GaugeBand[] {
  const { uniform, normal } = normals(seed);
  const count = 5 + Math.floor(uniform() * 8);
  const photos = uniform() < 0.5 ? 1 : 2;
  const photoErrors = Array.from({ length: photos }, () => ({
    scale: 0.005 * normal(),
    gradient: 0.004 * normal(),
  }));
  const relative = 0.005 + 0.005 * uniform();
  const turned = Array.from({ length: photos }, () => eitherWay && uniform() < 0.5);
  return Array.from({ length: count }, (_, index) => {
    const share = (index + 0.5) / count;
    const photo = Math.min(photos - 1, Math.floor(share * photos));
    const inPhoto = share * photos - photo - 0.5;
    const { scale, gradient } = photoErrors[photo]!;
    const truth = 13.5 * (1 + change * (share - 0.5));
    const seenAt = turned[photo] ? share - (2 * inPhoto) / photos : share;
    return {
      row: Math.round(1 + seenAt * 89),
      photo: String(photo),
      stitchesPer10cm: {
        value: truth * (1 + scale + gradient * inPhoto + relative * normal()),
        standardUncertainty: (truth * relative) / overconfidence,
      },
    };
  });
}

const rateOf = (count: number, simulated: Simulated): number => {
  let alarms = 0;
  for (let seed = 1; seed <= count; seed++) {
    const { status } = drift({
      bands: simulate(seed * 7919, simulated),
      stitches: 120,
      rows: 90,
      photosLieAsTold: !simulated.eitherWay,
    });
    if (status !== 'steady') alarms++;
  }
  return alarms / count;
};

describe('drift of tension', () => {
  it('does not cry wolf: at most 5 % of steady pieces', () => {
    expect(rateOf(2000, { change: 0 })).toBeLessThanOrEqual(0.05);
  });

  it('stays close to that when the reader is a quarter too sure of itself', () => {
    expect(rateOf(1000, { change: 0, overconfidence: 1.25 })).toBeLessThanOrEqual(0.08);
  });

  it.each([0.04, -0.04, 0.05])('finds a drift of %d over the piece in at least 90 % of pieces', (change) => {
    expect(rateOf(1000, { change })).toBeGreaterThanOrEqual(0.9);
  });

  it('does not cry wolf either where nobody knows which way up the photos were taken', () => {
    expect(rateOf(1000, { change: 0, eitherWay: true })).toBeLessThanOrEqual(0.05);
  });

  it('says which way', () => {
    expect(drift({ bands: simulate(5, { change: 0.08 }), stitches: 120, rows: 90 }).status).toBe('tighter');
    expect(drift({ bands: simulate(5, { change: -0.08 }), stitches: 120, rows: 90 }).status).toBe('looser');
  });

  it('says what it does to the edges if it goes on', () => {
    const bands = [10, 20, 30, 40, 50].map((row) => ({
      row,
      stitchesPer10cm: { value: 13.5 - row * 0.01, standardUncertainty: 0.03 },
    }));
    const { ifContinued, message } = drift({ bands, stitches: 120, rows: 90 });
    const width = (row: number): number => (120 * 100) / (13.5 - row * 0.01);
    expect(ifContinued!.firstRowMm.value).toBeCloseTo(width(1), 6);
    expect(ifContinued!.lastRowMm.value).toBeCloseTo(width(90), 6);
    expect(ifContinued!.lastMinusFirstMm.value).toBeCloseTo(width(90) - width(1), 6);
    expect(message).toMatch(/looser.*cm wider than the first/);
  });

  it('compares the piece with its swatch', () => {
    const bands = simulate(11, { change: 0 });
    const same = drift({ bands, stitches: 120, rows: 90, swatch: { value: 13.5, standardUncertainty: 0.1 } });
    const other = drift({
      bands,
      stitches: 120,
      rows: 90,
      swatch: { value: 14.5, standardUncertainty: 0.1 },
    });
    expect(same.swatch!.differs).toBe(false);
    expect(other.swatch!.differs).toBe(true);
    expect(other.swatch!.differencePercent.value).toBeLessThan(-4);
  });

  it('says that it cannot tell from fewer than three bands', () => {
    const result = drift({ bands: simulate(3, { change: 0.2 }).slice(0, 2), stitches: 120, rows: 90 });
    expect(result.status).toBe('unknown');
  });

  it('of three photos one that stands out is asked for once more, and an even change is none such', () => {
    const threePhotos = (gauges: number[]): GaugeBand[] =>
      gauges.flatMap((gauge, i) =>
        [-8, 0, 8].map((from) => ({
          row: 12 + 60 * i + from,
          photo: `photo ${i}`,
          stitchesPer10cm: { value: gauge, standardUncertainty: 0.05 },
        })),
      );
    const check = (gauges: number[]) => drift({ bands: threePhotos(gauges), stitches: 120, rows: 144 });
    expect(check([14, 14, 14.8]).said).toEqual({
      code: 'drift.oddPhotoTighter',
      values: { row: 132, percent: 5.7 },
    });
    expect(check([13.2, 14, 14]).said).toMatchObject({
      code: 'drift.oddPhotoLooser',
      values: { row: 12 },
    });
    expect(check([14, 14, 14.8]).status).toBe('unknown');
    expect(check([13.6, 14, 14.4]).status).toBe('tighter');
    expect(check([14, 14.05, 14]).status).toBe('steady');
  });

  it('one photo that was misread does not hide a drift that all photos show by themselves', () => {
    // What the photos show within themselves tells which of them the line must pass.
    const photos = (change: number, odd: number[]): GaugeBand[] =>
      [12, 72, 132].flatMap((middle, i) =>
        [-10, -5, 0, 5, 10].map((from) => ({
          row: middle + from,
          photo: `photo ${i}`,
          sharedRelativeU: 0.004,
          stitchesPer10cm: {
            value: 14 * (1 + odd[i]!) * (1 + change * ((middle + from) / 144 - 0.5)),
            standardUncertainty: 0.03,
          },
        })),
      );
    const check = (change: number, odd: number[]) =>
      drift({ bands: photos(change, odd), stitches: 120, rows: 144, rowsDone: 144 });
    const found = check(0.08, [0, 0.03, 0]);
    expect(found.status).toBe('tighter');
    expect(found.oddPhoto!.row).toBeCloseTo(72, 0);
    expect(found.said).toMatchObject({ code: 'drift.growsTighterOdd', values: { row: 72 } });
    expect(found.message).toMatch(/around row 72.*right beside/);
    expect(check(-0.08, [0, 0, -0.05]).status).toBe('looser');
    // Without a drift in them no line through two of three is believed.
    const doubted = check(0, [0, 0.05, 0]);
    expect(doubted.status).toBe('unknown');
    expect(doubted.oddPhoto).not.toBeNull();
    expect(check(0.08, [0, 0, 0]).said.code).toBe('drift.growsTighter');
    expect(check(0.08, [0, 0, 0]).oddPhoto).toBeNull();
  });

  it('says what may be hidden where the photos show little of the piece', () => {
    const photo = (rows: number[], standardUncertainty: number): GaugeBand[] =>
      rows.map((row) => ({ row, photo: 'one', stitchesPer10cm: { value: 14, standardUncertainty } }));
    const check = (rows: number[], u: number) =>
      drift({ bands: photo(rows, u), stitches: 120, rows: 100, rowsDone: 80 });
    const whole = check([5, 25, 45, 75], 0.05);
    expect(whole.said).toEqual({ code: 'drift.steady', values: {} });
    const part = check([65, 70, 75, 80], 0.05);
    expect(part.status).toBe('steady');
    expect(part.said.code).toBe('drift.steadyRoughly');
    expect(part.said.values.percent).toBeGreaterThan(4);
    expect(part.message).toMatch(/first rows and of the last, each with .* right beside the rows/);
    expect(check([75, 80], 0.05).message).toMatch(/first rows and one of the last, .* right beside/);
  });

  it('two photos of different scale are not taken for drift', () => {
    const bands: GaugeBand[] = [10, 20, 30, 60, 70, 80].map((row) => ({
      row,
      photo: row < 50 ? 'lower' : 'upper',
      stitchesPer10cm: { value: row < 50 ? 13.45 : 13.6, standardUncertainty: 0.03 },
    }));
    const apart = drift({ bands, stitches: 120, rows: 90, scaleRelativeUncertainty: 0.01 });
    const asOne = drift({ bands: bands.map((each) => ({ ...each, photo: 'one' })), stitches: 120, rows: 90 });
    expect(apart.status).toBe('steady');
    expect(asOne.pValue).toBeLessThan(apart.pValue);
  });
});

describe('bands from local readings', () => {
  it('take the mean of each band and the scatter of all', () => {
    const { normal } = normals(42);
    const readings = Array.from({ length: 80 }, (_, index) => ({
      alongRows: (index + 0.5) / 80,
      stitchesPer10cm: 13.5 + 0.2 * normal(),
      trust: 1,
    }));
    const bands = gaugeBands(readings, { fromRow: 1, toRow: 81, bands: 8 });
    expect(bands).toHaveLength(8);
    expect(bands.map((band) => band.row)).toEqual([6, 16, 26, 36, 46, 56, 66, 76]);
    for (const band of bands) {
      expect(Math.abs(band.stitchesPer10cm.value - 13.5)).toBeLessThan(0.3);
      expect(band.stitchesPer10cm.standardUncertainty).toBeGreaterThan(0.05);
      expect(band.stitchesPer10cm.standardUncertainty).toBeLessThan(0.15);
    }
  });

  it('leave out readings without a gauge or without trust', () => {
    const readings = [
      { alongRows: 0.2, stitchesPer10cm: null, trust: 1 },
      { alongRows: 0.2, stitchesPer10cm: 99, trust: 0 },
      { alongRows: 0.2, stitchesPer10cm: 13, trust: 1 },
      { alongRows: 0.3, stitchesPer10cm: 13.2, trust: 1 },
    ];
    expect(gaugeBands(readings, { fromRow: 1, toRow: 11 })).toMatchObject([
      { stitchesPer10cm: { value: 13.1 } },
    ]);
  });
});

describe('the regression', () => {
  it('is ordinary least squares when nothing is shared and all are equally sure', () => {
    // textbook line: y = 1 + 2 x with residuals that cancel
    const points = [0, 1, 2, 3].map((at, index) => ({
      at,
      value: 1 + 2 * at + [0.1, -0.1, -0.1, 0.1][index]!,
      standardUncertainty: 0.2,
      group: String(at),
    }));
    const trend = gaugeTrend(points, { scaleRelativeUncertainty: 0, gradientRelativeUncertainty: 0 })!;
    expect(trend.slope.value).toBeCloseTo(2, 9);
    expect(trend.pivot).toBeCloseTo(1.5, 9);
    expect(trend.slope.standardUncertainty).toBeCloseTo(0.2 / Math.sqrt(5), 9); // σ ÷ √Σ(x − x̄)²
    expect(trend.valueAtPivot.standardUncertainty).toBeCloseTo(0.1, 9); // σ ÷ √n
  });

  it('widens when the points scatter more than they say', () => {
    const points = [0, 1, 2, 3, 4].map((at, index) => ({
      at,
      value: [1, 4, 1, 4, 1][index]!,
      standardUncertainty: 0.1,
      group: String(at),
    }));
    const trend = gaugeTrend(points, { scaleRelativeUncertainty: 0, gradientRelativeUncertainty: 0 })!;
    expect(trend.slope.standardUncertainty).toBeGreaterThan(0.3);
  });
});
