import { describe, expect, it } from 'vitest';
import {
  hookAdvice,
  hookElasticity,
  planPiece,
  SIZE_PRESETS,
  sizeTable,
  substituteYarn,
  writeSizeTable,
} from '../../calc/index.ts';
import { BLANKET, PLAIN } from './specs.ts';

const { target: _target, ...PATTERN } = BLANKET;

describe('several sizes from one gauge', () => {
  it('each row is the plan of that size', () => {
    const [row] = sizeTable(PATTERN, [{ name: 'Lap', widthMm: '36 in', heightMm: '48 in' }]);
    const plan = planPiece({ ...PATTERN, target: { widthMm: '36 in', heightMm: '48 in' } });
    expect(row).toMatchObject({ chain: plan.chain, rows: plan.rows, stitches: plan.stitches });
    expect(row!.borderRounds).toEqual(plan.border!.rounds.map((round) => round.stitches));
  });

  it('every preset can be planned, has a source, and infant sizes carry the caution', () => {
    const { border: _border, ...plain } = PATTERN;
    const table = sizeTable(
      { ...plain, multiple: undefined },
      SIZE_PRESETS.map((each) => each.key),
    );
    table.forEach((row, index) => {
      expect(row.source).toBeTruthy();
      expect(row.stitches).toBeGreaterThan(0);
      if (SIZE_PRESETS[index]!.forInfant)
        expect(row.cautions.map((each) => each.code)).toContain('infant-bedding');
    });
  });
});

describe('a table ready to publish', () => {
  const table = sizeTable(PATTERN, ['baby-blanket', 'lap-blanket', 'throw']);
  const lines = writeSizeTable(table, 'in');

  it('is written first (second, third)', () => {
    expect(lines[0]).toBe('Sizes: Baby blanket (Lap blanket, Throw)');
    expect(lines).toContain(`Chain: ${table[0]!.chain} (${table[1]!.chain}, ${table[2]!.chain})`);
    expect(lines).toContain(`Rows: ${table[0]!.rows} (${table[1]!.rows}, ${table[2]!.rows})`);
  });

  it('has every border round, the yarn of every colour, and the caution once', () => {
    expect(lines.filter((line) => line.startsWith('Border round'))).toHaveLength(3);
    for (const colour of ['Sand', 'Moss']) {
      expect(lines.filter((line) => line.startsWith(colour))).toHaveLength(3);
    }
    expect(lines.filter((line) => line.startsWith('For a baby'))).toHaveLength(1);
  });
});

describe('hook advice', () => {
  const measured = { value: 14.2, standardUncertainty: 0.1 };

  it('a difference within its uncertainty is left alone', () => {
    expect(
      hookAdvice({ measured: { value: 13.6, standardUncertainty: 0.1 }, wanted: 13.5, hookMm: 5 }).action,
    ).toBe('keep');
  });

  it('ignoring a tight gauge makes the piece narrower, and takes less yarn, in proportion', () => {
    const { ignoring, message } = hookAdvice({ measured, wanted: 13.5, hookMm: 5 });
    expect(ignoring.width.value).toBeCloseTo(13.5 / 14.2, 9);
    expect(ignoring.yarn.value).toBeCloseTo(13.5 / 14.2, 9);
    expect(message).toContain('4.9 % narrower');
  });

  it('two swatches of her own give her own elasticity, and a surer forecast', () => {
    const elasticity = hookElasticity(
      { hookMm: 5, stitchesPer10cm: { value: 14.2, standardUncertainty: 0.05 } },
      { hookMm: 6, stitchesPer10cm: { value: 12.7, standardUncertainty: 0.05 } },
    );
    const own = hookAdvice({ measured, wanted: 12.7, hookMm: 5, elasticity });
    const usual = hookAdvice({ measured, wanted: 12.7, hookMm: 5 });
    const at6 = (advice: typeof own) => advice.choices.find((choice) => choice.hookMm === 6)!.stitchesPer10cm;
    expect(at6(own).value).toBeCloseTo(12.7, 6);
    expect(at6(own).standardUncertainty).toBeLessThan(at6(usual).standardUncertainty);
  });
});

describe('another yarn', () => {
  it('needs the same length, so the weight goes with its grams per metre', () => {
    const { totalMetres } = planPiece(PLAIN).yarn!;
    const other = substituteYarn({ metres: totalMetres!, skeinGrams: 50, skeinMetres: 85 });
    expect(other.metres.value).toBeCloseTo(totalMetres!.value, 9);
    expect(other.grams.value).toBeCloseTo((totalMetres!.value * 50) / 85, 9);
    expect(other.skeins).toBeGreaterThanOrEqual(totalMetres!.value / 85);
  });

  it('a colour of another yarn takes the swatch by length, not by weight', () => {
    const plan = planPiece({
      ...BLANKET,
      colours: [
        { id: 'sand', skeinGrams: 100, skeinMetres: 200 },
        { id: 'moss', skeinGrams: 100, skeinMetres: 160 },
      ],
      yarn: { ...BLANKET.yarn, label: false },
    });
    const [sand, moss] = plan.yarn!.perColour;
    expect(moss!.basis[0]!.gramsPerStitch.value / sand!.basis[0]!.gramsPerStitch.value).toBeCloseTo(
      200 / 160,
      9,
    );
  });
});
