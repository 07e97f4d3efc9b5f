import type { z } from 'zod';
import { checkNumber, type NumberLimits } from './checkNumber.ts';
import { CalcError } from './errors.ts';
import type { ColourBand, Layout } from './layout.ts';
import { parseLength } from './parseLength.ts';
import { parseWeight } from './parseWeight.ts';
import { parseYarnLength } from './parseYarnLength.ts';
import {
  planSpecSchema,
  type gaugeFigureSchema,
  type layoutSchema,
  type PlanSpec,
  type Rounding,
  type stitchSchema,
} from './planSpec.ts';
import { STITCHES, type Multiple, type Stitch } from './stitches.ts';
import type { Uncertain } from './uncertain.ts';
import { MM_PER_10CM, MM_PER_4IN, type LengthUnit } from './units.ts';

export interface Colour {
  id: string;
  name: string;
  hex: string | null;
  skeinGrams: number | null;
  skeinMetres: number | null;
  dyeLots: { lot: string; skeins: number }[];
}

export interface BorderSpec {
  rounds: number;
  stitch: Stitch;
  firstRoundStitch: Stitch;
  /** Colour of each round. */
  colours: string[];
  cornerStitches: number;
  multiple: { m: number; plus: number };
  measured: null | { rounds: number; depthMm: Uncertain; stitchesPer10cm: Uncertain | null };
}

export interface YarnEvidence {
  swatchWeight: null | {
    stitches: number;
    rows: number;
    grams: Uncertain;
    colour: string;
    foundationChain: boolean;
  };
  unravelled: null | { stitches: number; metres: Uncertain; colour: string };
  usedSoFar: {
    colour: string;
    grams: Uncertain;
    stitches: number | null;
    rowsDone: number | null;
    borderRoundsDone: number;
  }[];
  label: boolean;
  wrapsPerInch: number | null;
}

/** A plan specification in plain numbers, every default filled in and every limit checked. */
export interface ReadyPlanSpec {
  name: string | null;
  gauge: { stitchesPer10cm: Uncertain; rowsPer10cm: Uncertain };
  stitch: Stitch;
  terms: 'us' | 'uk';
  units: LengthUnit;
  target: { widthMm: number; heightMm: number; rounding: Rounding; forInfant: boolean };
  multiple: Multiple;
  rowRepeat: Multiple;
  lastRow: 'any' | 'right-side' | 'wrong-side';
  fixed: { chain: number | null; rows: number | null };
  colours: Colour[];
  layout: Layout;
  border: BorderSpec | null;
  yarn: YarnEvidence;
  practice: {
    tailMm: number;
    carriedTakeUp: number;
    carryUpRows: number;
    keepSwatch: boolean;
    firstRowHeightRatio: Uncertain;
  };
  hookMm: number | null;
}

const COUNT: NumberLimits = { min: 1, max: 10_000, whole: true };
/** Relative standard uncertainty of a gauge given as a bare count: half a stitch in a dozen, or so. */
const COUNTED_GAUGE_RELATIVE_U = 0.02;

/**
 * Checks a plan specification and fills in what was left out.
 *
 * @throws CalcError naming the first field at fault and what is allowed there.
 * @example
 * readPlanSpec({
 *   gauge: { stitchesPer10cm: 13.5, rowsPer10cm: 9.2 },
 *   stitch: 'hdc',
 *   target: { widthMm: '35 in', heightMm: 1020 },
 * }).target.widthMm; // 889
 */
export function readPlanSpec(input: unknown): ReadyPlanSpec {
  const spec = parse(input);
  const units = spec.units ?? 'cm';
  const length = (value: number | string, field: string, limits: NumberLimits): number =>
    checkNumber(field, typeof value === 'string' ? parseLength(value, { unit: units, field }) : value, {
      unit: 'mm',
      ...limits,
    });
  const weight = (value: number | string, field: string, limits: NumberLimits): number =>
    checkNumber(field, typeof value === 'string' ? parseWeight(value, { unit: 'g', field }) : value, {
      unit: 'g',
      ...limits,
    });
  const yarnLength = (value: number | string, field: string, limits: NumberLimits): number =>
    checkNumber(field, typeof value === 'string' ? parseYarnLength(value, { unit: 'm', field }) : value, {
      unit: 'm',
      ...limits,
    });

  const gauge = {
    stitchesPer10cm: readGauge(spec.gauge, 'stitches'),
    rowsPer10cm: readGauge(spec.gauge, 'rows'),
  };
  const stitch = readStitch(spec.stitch, 'stitch');
  const multiple = readMultiple(spec.multiple, 'multiple', stitch.multiple);
  const rowRepeat = readMultiple(spec.rowRepeat, 'rowRepeat', { m: 1, plus: 0, parity: 'any' });

  const target = {
    widthMm: length(spec.target.widthMm, 'target.widthMm', { min: 20, max: 10_000 }),
    heightMm: length(spec.target.heightMm, 'target.heightMm', { min: 20, max: 10_000 }),
    rounding: spec.target.rounding ?? 'nearest',
    forInfant: spec.target.forInfant ?? false,
  };

  const sent = spec.colours ?? [{ id: 'main', name: 'Main colour' }];
  const colours = sent.map((colour, index): Colour => {
    const at = `colours.${index}`;
    if (sent.findIndex((other) => other.id === colour.id) !== index) {
      throw new CalcError(
        'inconsistent',
        `${at}.id`,
        `Two colours have the id "${colour.id}".`,
        'ids that differ',
      );
    }
    return {
      id: colour.id,
      name: colour.name ?? colour.id,
      hex: colour.hex ?? null,
      skeinGrams:
        colour.skeinGrams === undefined
          ? null
          : weight(colour.skeinGrams, `${at}.skeinGrams`, { min: 1, max: 5000 }),
      skeinMetres:
        colour.skeinMetres === undefined
          ? null
          : yarnLength(colour.skeinMetres, `${at}.skeinMetres`, { min: 1, max: 50_000 }),
      dyeLots: (colour.dyeLots ?? []).map((each, lot) => ({
        lot: each.lot,
        skeins: checkNumber(`${at}.dyeLots.${lot}.skeins`, each.skeins, { min: 0, max: 1000 }),
      })),
    };
  });
  const knownColour = (id: string, field: string): string => {
    if (colours.some((colour) => colour.id === id)) return id;
    const allowed = `one of: ${colours.map((colour) => colour.id).join(', ')}`;
    throw new CalcError('unknown-key', field, `${field}: there is no colour "${id}".`, allowed);
  };

  const layout = readLayout(spec.layout ?? { kind: 'solid' }, spec, knownColour, multiple);
  const border = readBorder(spec, knownColour, length, colours);

  const evidence = spec.yarn ?? {};
  const yarn: YarnEvidence = {
    swatchWeight: null,
    unravelled: null,
    usedSoFar: (evidence.usedSoFar ?? []).map((used, index) => {
      const at = `yarn.usedSoFar.${index}`;
      const before = weight(used.gramsBefore, `${at}.gramsBefore`, { min: 0, max: 50_000 });
      const left = weight(used.gramsLeft, `${at}.gramsLeft`, { min: 0, max: before });
      const scale = used.standardUncertaintyG ?? 1;
      if (used.stitches === undefined && used.rowsDone === undefined) {
        throw new CalcError(
          'missing',
          `${at}.rowsDone`,
          `${at} needs the rows done or the stitches worked in this colour.`,
          'rowsDone or stitches',
        );
      }
      return {
        colour: knownColour(used.colour, `${at}.colour`),
        grams: {
          value: before - left,
          standardUncertainty: checkNumber(`${at}.standardUncertaintyG`, scale, {
            min: 0.001,
            max: 500,
            unit: 'g',
          }),
        },
        stitches:
          used.stitches === undefined
            ? null
            : checkNumber(`${at}.stitches`, used.stitches, { min: 1, max: 10_000_000, whole: true }),
        rowsDone: used.rowsDone === undefined ? null : checkNumber(`${at}.rowsDone`, used.rowsDone, COUNT),
        borderRoundsDone: checkNumber(`${at}.borderRoundsDone`, used.borderRoundsDone ?? 0, {
          min: 0,
          max: border?.rounds ?? 0,
          whole: true,
        }),
      };
    }),
    label: evidence.label ?? true,
    wrapsPerInch:
      evidence.wrapsPerInch === undefined
        ? null
        : checkNumber('yarn.wrapsPerInch', evidence.wrapsPerInch, { min: 2, max: 60 }),
  };
  if (evidence.swatchWeight) {
    const swatch = evidence.swatchWeight;
    const at = 'yarn.swatchWeight';
    yarn.swatchWeight = {
      stitches: checkNumber(`${at}.stitches`, swatch.stitches, COUNT),
      rows: checkNumber(`${at}.rows`, swatch.rows, COUNT),
      grams: {
        value: weight(swatch.grams, `${at}.grams`, { min: 0.1, max: 5000 }),
        // a kitchen scale that shows whole grams: half-width 0.5 g, rectangular, 0.5 ÷ √3 (JCGM 100, 4.3.7)
        standardUncertainty: checkNumber(`${at}.standardUncertaintyG`, swatch.standardUncertaintyG ?? 0.29, {
          min: 0.001,
          max: 100,
          unit: 'g',
        }),
      },
      colour: knownColour(swatch.colour ?? colours[0]!.id, `${at}.colour`),
      foundationChain: swatch.foundationChain ?? true,
    };
  }
  if (evidence.unravelled) {
    const unravelled = evidence.unravelled;
    const at = 'yarn.unravelled';
    const metres = yarnLength(unravelled.metres, `${at}.metres`, { min: 0.01, max: 1000 });
    yarn.unravelled = {
      stitches: checkNumber(`${at}.stitches`, unravelled.stitches, COUNT),
      metres: {
        value: metres,
        // unravelled yarn is wavy; pulled straight by hand its length is known to about 3 %
        standardUncertainty: checkNumber(
          `${at}.standardUncertaintyM`,
          unravelled.standardUncertaintyM ?? 0.03 * metres,
          { min: 0.0001, max: 1000, unit: 'm' },
        ),
      },
      colour: knownColour(unravelled.colour ?? colours[0]!.id, `${at}.colour`),
    };
  }

  const practice = spec.practice ?? {};
  return {
    name: spec.name ?? null,
    gauge,
    stitch,
    terms: spec.terms ?? 'us',
    units,
    target,
    multiple,
    rowRepeat,
    lastRow: spec.lastRow ?? 'any',
    fixed: {
      chain: spec.fixed?.chain === undefined ? null : checkNumber('fixed.chain', spec.fixed.chain, COUNT),
      rows: spec.fixed?.rows === undefined ? null : checkNumber('fixed.rows', spec.fixed.rows, COUNT),
    },
    colours,
    layout,
    border,
    yarn,
    practice: {
      tailMm: length(practice.tailMm ?? 150, 'practice.tailMm', { min: 0, max: 1000 }),
      carriedTakeUp: checkNumber('practice.carriedTakeUp', practice.carriedTakeUp ?? 1.05, {
        min: 1,
        max: 2,
      }),
      carryUpRows: checkNumber('practice.carryUpRows', practice.carryUpRows ?? 4, {
        min: 0,
        max: 100,
        whole: true,
      }),
      keepSwatch: practice.keepSwatch ?? true,
      // Row 1 sits on its chain and is a little lower than the others (common practice; no published figure)
      firstRowHeightRatio:
        practice.firstRowHeightRatio === undefined
          ? stitch.craft === 'crochet'
            ? { value: 0.9, standardUncertainty: 0.15 }
            : { value: 1, standardUncertainty: 0.5 }
          : {
              value: checkNumber('practice.firstRowHeightRatio', practice.firstRowHeightRatio, {
                min: 0,
                max: 3,
              }),
              standardUncertainty: 0.05,
            },
    },
    hookMm:
      spec.hookMm === undefined
        ? null
        : checkNumber('hookMm', spec.hookMm, { min: 0.4, max: 50, unit: 'mm' }),
  };
}

function parse(input: unknown): PlanSpec {
  const result = planSpecSchema.safeParse(input);
  if (result.success) return result.data;
  const issue = result.error.issues[0]!;
  const field = issue.path.map(String).join('.') || 'plan';
  if (issue.code === 'unrecognized_keys') {
    const wrong = issue.keys.map((key) => (issue.path.length ? `${field}.${key}` : key)).join(', ');
    throw new CalcError('unknown-key', wrong, `The plan has no field ${wrong}.`, 'only the fields of a plan');
  }
  const missing = /received undefined$/.test(issue.message);
  const wanted = issue.message
    .replace(/^Invalid (?:input|option): expected |^Invalid discriminator value\. Expected |^must be /, '')
    .replace(/, received .*$/, '')
    .replace(/^(number|string|boolean)$/, 'a $1')
    .replace(/^(object|array)$/, 'an $1')
    .replace(/\s*\|\s*/g, ' or ');
  throw new CalcError(
    missing ? 'missing' : 'not-understood',
    field,
    missing ? `${field} is missing; it must be ${wanted}.` : `${field} must be ${wanted}.`,
    wanted,
  );
}

function readGauge(gauge: PlanSpec['gauge'], what: 'stitches' | 'rows'): Uncertain {
  const per10cm = gauge[`${what}Per10cm`];
  const per4in = gauge[`${what}Per4in`];
  const field = `gauge.${what}Per10cm`;
  if (per10cm !== undefined && per4in !== undefined) {
    throw new CalcError(
      'inconsistent',
      field,
      `Give ${what} per 10 cm or per 4 in, not both.`,
      'one of the two',
    );
  }
  if (per10cm !== undefined) return readFigure(per10cm, field, 1);
  if (per4in !== undefined) return readFigure(per4in, `gauge.${what}Per4in`, MM_PER_10CM / MM_PER_4IN);
  throw new CalcError(
    'missing',
    field,
    `The plan needs ${what} per 10 cm (or per 4 in).`,
    `a number from 1 to 100`,
  );
}

/** Limits of a believable gauge: felted jumbo yarn to sewing thread. */
const GAUGE_LIMITS: NumberLimits = { min: 0.5, max: 150 };

function readFigure(figure: z.infer<typeof gaugeFigureSchema>, field: string, factor: number): Uncertain {
  const value = checkNumber(field, typeof figure === 'number' ? figure : figure.value, GAUGE_LIMITS);
  const u = typeof figure === 'number' ? undefined : figure.standardUncertainty;
  const standardUncertainty =
    u === undefined
      ? COUNTED_GAUGE_RELATIVE_U * value
      : checkNumber(`${field}.standardUncertainty`, u, { min: 0, max: value / 2 });
  return { value: value * factor, standardUncertainty: standardUncertainty * factor };
}

function readStitch(sent: z.infer<typeof stitchSchema>, field: string): Stitch {
  if (typeof sent === 'string') return STITCHES[sent];
  const base = STITCHES[sent.like];
  const own = { ...base };
  if (sent.name !== undefined) {
    own.key = `own:${sent.name}`;
    own.names = { us: sent.name, uk: sent.name };
    own.abbreviations = { us: sent.name, uk: sent.name };
  }
  const chains: NumberLimits = { min: 0, max: 12, whole: true };
  if (sent.chainsSkipped !== undefined) {
    own.chainsSkipped = checkNumber(`${field}.chainsSkipped`, sent.chainsSkipped, chains);
  }
  if (sent.turningChain !== undefined) {
    own.turningChain = checkNumber(`${field}.turningChain`, sent.turningChain, chains);
  }
  own.skippedChainsCount = sent.skippedChainsCount ?? sent.turningChainCounts ?? base.skippedChainsCount;
  own.turningChainCounts = sent.turningChainCounts ?? base.turningChainCounts;
  if (sent.rowsPerRepeat !== undefined) {
    own.rowsPerRepeat = checkNumber(`${field}.rowsPerRepeat`, sent.rowsPerRepeat, { ...COUNT, max: 500 });
  }
  if (base.multiple.m === 1) {
    own.multiple = { m: 1, plus: own.chainsSkipped - (own.skippedChainsCount ? 1 : 0), parity: 'any' };
  }
  if (sent.heightToWidth) {
    const { low, typical, high } = sent.heightToWidth;
    const at = `${field}.heightToWidth`;
    checkNumber(`${at}.low`, low, { min: 0.1, max: 10 });
    checkNumber(`${at}.typical`, typical, { min: low, max: 10 });
    checkNumber(`${at}.high`, high, { min: typical, max: 10 });
    own.heightToWidth = { low, typical, high };
  }
  if (sent.yarnInChains !== undefined) {
    own.yarnInChains = checkNumber(`${field}.yarnInChains`, sent.yarnInChains, { min: 0.2, max: 30 });
  }
  if (sent.yarnPerAreaFactor !== undefined) {
    own.yarnPerAreaFactor = checkNumber(`${field}.yarnPerAreaFactor`, sent.yarnPerAreaFactor, {
      min: 0.2,
      max: 5,
    });
  }
  return own;
}

function readMultiple(sent: PlanSpec['multiple'], field: string, fallback: Multiple): Multiple {
  if (!sent) return fallback;
  const m = checkNumber(`${field}.m`, sent.m, { min: 1, max: 1000, whole: true });
  return {
    m,
    plus: checkNumber(`${field}.plus`, sent.plus ?? fallback.plus, { min: 0, max: 1000, whole: true }),
    parity: sent.parity ?? 'any',
  };
}

function readLayout(
  sent: z.infer<typeof layoutSchema>,
  spec: PlanSpec,
  knownColour: (id: string, field: string) => string,
  multiple: Multiple,
): Layout {
  const firstColour = spec.colours?.[0]?.id ?? 'main';
  const base: Layout = {
    kind: sent.kind,
    bands: [],
    carried: false,
    partLastBand: true,
    lastBands: null,
    shares: {},
  };
  const rows = (value: number, field: string): number => checkNumber(field, value, COUNT);
  switch (sent.kind) {
    case 'solid': {
      const colour = sent.colour === undefined ? firstColour : knownColour(sent.colour, 'layout.colour');
      return { ...base, bands: [{ rows: 1, across: [colour], blockStitches: Infinity }] };
    }
    case 'stripes': {
      const bands = sent.stripes.map((stripe, index): ColourBand => ({
        rows: rows(stripe.rows, `layout.stripes.${index}.rows`),
        across: [knownColour(stripe.colour, `layout.stripes.${index}.colour`)],
        blockStitches: Infinity,
      }));
      let lastBands: number[] | null = null;
      if (sent.endWith !== undefined) {
        const last = knownColour(sent.endWith, 'layout.endWith');
        lastBands = bands.flatMap((stripe, index) => (stripe.across[0] === last ? [index] : []));
        if (lastBands.length === 0) {
          throw new CalcError(
            'impossible',
            'layout.endWith',
            { code: 'refuse.endColour', values: { colour: last } },
            'a colour of one of the stripes',
          );
        }
      }
      return { ...base, bands, lastBands, partLastBand: sent.partLastStripe ?? lastBands === null };
    }
    case 'blocks': {
      const blockStitches = rows(sent.blockStitches ?? multiple.m, 'layout.blockStitches');
      const bands = sent.bands.map((each, index): ColourBand => ({
        rows: rows(each.rows, `layout.bands.${index}.rows`),
        across: each.across.map((id, block) => knownColour(id, `layout.bands.${index}.across.${block}`)),
        blockStitches,
      }));
      const lastBands =
        sent.endWithBand === undefined
          ? null
          : [
              checkNumber('layout.endWithBand', sent.endWithBand, {
                min: 1,
                max: bands.length,
                whole: true,
              }) - 1,
            ];
      return {
        ...base,
        bands,
        lastBands,
        carried: sent.carried ?? true,
        partLastBand: sent.partLastBand ?? lastBands === null,
      };
    }
    case 'grid': {
      const blockStitches = rows(sent.cellStitches, 'layout.cellStitches');
      const cellRows = rows(sent.cellRows, 'layout.cellRows');
      const bands = sent.cells.map((line, index): ColourBand => ({
        rows: cellRows,
        across: line.map((id, cell) => knownColour(id, `layout.cells.${index}.${cell}`)),
        blockStitches,
      }));
      return { ...base, bands, carried: sent.carried ?? true, partLastBand: sent.partLastBand ?? true };
    }
    case 'shares': {
      const shares: Record<string, number> = {};
      (spec.colours ?? []).forEach((colour, index) => {
        shares[colour.id] = checkNumber(`colours.${index}.share`, colour.share ?? 0, { min: 0, max: 1000 });
      });
      if (Object.values(shares).reduce((sum, share) => sum + share, 0) <= 0) {
        throw new CalcError('missing', 'colours.0.share', 'Give the share of each colour.', 'shares above 0');
      }
      return { ...base, bands: [{ rows: 1, across: [firstColour], blockStitches: Infinity }], shares };
    }
  }
}

function readBorder(
  spec: PlanSpec,
  knownColour: (id: string, field: string) => string,
  length: (value: number | string, field: string, limits: NumberLimits) => number,
  colours: Colour[],
): BorderSpec | null {
  const sent = spec.border;
  if (!sent) return null;
  const rounds = checkNumber('border.rounds', sent.rounds, { min: 0, max: 100, whole: true });
  if (rounds === 0) return null;
  const stitch = readStitch(sent.stitch, 'border.stitch');
  const isRib =
    sent.stitch === 'post-rib' || (typeof sent.stitch === 'object' && sent.stitch.like === 'post-rib');
  const firstRoundStitch =
    sent.firstRoundStitch === undefined
      ? isRib
        ? STITCHES.dc
        : stitch
      : readStitch(sent.firstRoundStitch, 'border.firstRoundStitch');
  const named = sent.colour === undefined ? [colours[0]!.id] : [sent.colour].flat();
  const roundColours = Array.from({ length: rounds }, (_, round) =>
    knownColour(named[Math.min(round, named.length - 1)]!, 'border.colour'),
  );
  const cornerStitches = checkNumber('border.cornerStitches', sent.cornerStitches ?? 3, {
    min: 1,
    max: 9,
    whole: true,
  });
  const m = checkNumber('border.multiple.m', sent.multiple?.m ?? (isRib ? 2 : 1), {
    min: 1,
    max: 200,
    whole: true,
  });
  const measured = sent.measured;
  return {
    rounds,
    stitch,
    firstRoundStitch,
    colours: roundColours,
    cornerStitches,
    multiple: {
      m,
      plus: checkNumber('border.multiple.plus', sent.multiple?.plus ?? 0, {
        min: 0,
        max: m - 1,
        whole: true,
      }),
    },
    measured: measured
      ? {
          rounds: checkNumber('border.measured.rounds', measured.rounds, { min: 1, max: 100, whole: true }),
          depthMm: {
            value: length(measured.depthMm, 'border.measured.depthMm', { min: 1, max: 1000 }),
            // read off a ruler to the nearest millimetre, on an edge that is soft
            standardUncertainty: checkNumber(
              'border.measured.standardUncertaintyMm',
              measured.standardUncertaintyMm ?? 1,
              { min: 0, max: 100, unit: 'mm' },
            ),
          },
          stitchesPer10cm:
            measured.stitchesPer10cm === undefined
              ? null
              : readFigure(measured.stitchesPer10cm, 'border.measured.stitchesPer10cm', 1),
        }
      : null,
  };
}
