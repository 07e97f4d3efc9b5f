/**
 * The plan specification: one schema for the page, the command line and the API.
 *
 * Lengths are numbers of millimetres, or text such as "35 in" (a bare number in text takes the
 * specification's `units`). Weights are grams or text such as "3.5 oz"; yarn lengths are metres or text
 * such as "230 yd". `readPlanSpec` turns what was sent into plain numbers with every default filled in.
 */
import { z } from 'zod';
import { STITCH_KEYS } from './stitches.ts';

const id = z.string().min(1).max(60);
/** A length: a number of millimetres, or text with its unit. */
export const lengthSchema = z.union(
  [z.number(), z.string().max(60)],
  'must be a number of millimetres, or text such as "35 in" or "89 cm"',
);
const weightG = z.union(
  [z.number(), z.string().max(60)],
  'must be a number of grams, or text such as "3.5 oz"',
);
const yarnMetres = z.union(
  [z.number(), z.string().max(60)],
  'must be a number of metres, or text such as "230 yd"',
);

/** A gauge figure: `{ value, standardUncertainty }` (what `measure` prints), or a bare count. */
export const gaugeFigureSchema = z.union(
  [z.number(), z.object({ value: z.number(), standardUncertainty: z.number().optional() })],
  'must be a number, or a value with its standardUncertainty',
);

/** Per 10 cm or per 4 in, each under its own name so that the two can't be mixed up. */
export const gaugeSchema = z.strictObject({
  stitchesPer10cm: gaugeFigureSchema.optional(),
  rowsPer10cm: gaugeFigureSchema.optional(),
  stitchesPer4in: gaugeFigureSchema.optional(),
  rowsPer4in: gaugeFigureSchema.optional(),
});

export const paritySchema = z.enum(['any', 'odd', 'even']);

/** "Multiple of m, plus c": count = m × k + plus; `plus` holds edge stitches and skipped chains. */
export const multipleSchema = z.strictObject({
  m: z.number(),
  plus: z.number().optional(),
  parity: paritySchema.optional(),
});

/** A maker's own stitch: starts from the listed stitch `like` and changes what differs. */
export const ownStitchSchema = z.strictObject({
  like: z.enum(STITCH_KEYS),
  name: z.string().min(1).max(80).optional(),
  chainsSkipped: z.number().optional(),
  skippedChainsCount: z.boolean().optional(),
  turningChain: z.number().optional(),
  turningChainCounts: z.boolean().optional(),
  rowsPerRepeat: z.number().optional(),
  heightToWidth: z.strictObject({ low: z.number(), typical: z.number(), high: z.number() }).optional(),
  yarnInChains: z.number().optional(),
  yarnPerAreaFactor: z.number().optional(),
});

export const stitchSchema = z.union(
  [z.enum(STITCH_KEYS), ownStitchSchema],
  `must be one of ${STITCH_KEYS.join(', ')}, or an own stitch { like: one of these, … }`,
);

export const roundingSchema = z.enum(['nearest', 'not-smaller', 'not-larger']);

export const targetSchema = z.strictObject({
  /** Finished width and height, border included. */
  widthMm: lengthSchema,
  heightMm: lengthSchema,
  rounding: roundingSchema.optional(),
  /** Who it is for, when that changes the cautions. */
  forInfant: z.boolean().optional(),
});

export const colourSchema = z.strictObject({
  id,
  name: z.string().min(1).max(80).optional(),
  hex: z
    .string()
    .regex(/^#[0-9a-fA-F]{6}$/)
    .optional(),
  /** Label weight and length of one skein. */
  skeinGrams: weightG.optional(),
  skeinMetres: yarnMetres.optional(),
  /** Skeins at hand, by dye lot. */
  dyeLots: z.array(z.strictObject({ lot: id, skeins: z.number() })).optional(),
  /** Share of the stitches, for layout kind 'shares'. */
  share: z.number().optional(),
});

const band = z.strictObject({
  /** Rows of this band. */
  rows: z.number(),
  /** Colours across the row in blocks of `blockStitches`, repeated to the edge. */
  across: z.array(id).min(1),
});

export const layoutSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('solid'), colour: id.optional() }),
  z.strictObject({
    kind: z.literal('stripes'),
    stripes: z.array(z.strictObject({ colour: id, rows: z.number() })).min(1),
    /** Only whole stripes, the last of this colour. */
    endWith: id.optional(),
    /** The last stripe may be cut short; allowed when left out, unless `endWith` is given. */
    partLastStripe: z.boolean().optional(),
  }),
  z.strictObject({
    kind: z.literal('blocks'),
    /** Stitches of one block; the stitch multiple m when left out. */
    blockStitches: z.number().optional(),
    bands: z.array(band).min(1),
    /** The colours of a row that rest are carried inside its stitches (true), or left hanging. */
    carried: z.boolean().optional(),
    /** Only whole bands, the last one being this (1 = the first listed). */
    endWithBand: z.number().optional(),
    /** The last band may be cut short; allowed when left out, unless `endWithBand` is given. */
    partLastBand: z.boolean().optional(),
  }),
  z.strictObject({
    kind: z.literal('grid'),
    /** Colour of each cell, bottom row of cells first; the grid is repeated over the piece. */
    cells: z.array(z.array(id).min(1)).min(1),
    cellStitches: z.number(),
    cellRows: z.number(),
    carried: z.boolean().optional(),
    partLastBand: z.boolean().optional(),
  }),
  z.strictObject({ kind: z.literal('shares') }),
]);

export const borderSchema = z.strictObject({
  rounds: z.number(),
  stitch: stitchSchema,
  /** Stitch of round 1; dc under a post rib when left out, else the border stitch. */
  firstRoundStitch: stitchSchema.optional(),
  /** One colour, or one per round (the last repeats). */
  colour: z.union([id, z.array(id).min(1)]).optional(),
  /** Stitches worked into each corner stitch. */
  cornerStitches: z.number().optional(),
  /** Pattern of a whole round: total = m × k + plus. An alternating rib needs m = 2. */
  multiple: z.strictObject({ m: z.number(), plus: z.number().optional() }).optional(),
  /** Measured on a border swatch. */
  measured: z
    .strictObject({
      rounds: z.number(),
      depthMm: lengthSchema,
      standardUncertaintyMm: z.number().optional(),
      stitchesPer10cm: gaugeFigureSchema.optional(),
    })
    .optional(),
});

const swatchSize = {
  stitches: z.number(),
  rows: z.number(),
};

export const yarnEvidenceSchema = z.strictObject({
  /** (a) A swatch of counted stitches and rows, weighed. */
  swatchWeight: z
    .strictObject({
      ...swatchSize,
      grams: weightG,
      standardUncertaintyG: z.number().optional(),
      colour: id.optional(),
      /** Whether the weighed swatch has a border; yarn of a border would be counted as fabric. */
      foundationChain: z.boolean().optional(),
    })
    .optional(),
  /** (b) Counted stitches unravelled and the yarn measured. */
  unravelled: z
    .strictObject({
      stitches: z.number(),
      metres: yarnMetres,
      standardUncertaintyM: z.number().optional(),
      colour: id.optional(),
    })
    .optional(),
  /** (c) What the piece has used so far, per colour. */
  usedSoFar: z
    .array(
      z.strictObject({
        colour: id,
        gramsBefore: weightG,
        gramsLeft: weightG,
        standardUncertaintyG: z.number().optional(),
        /** Stitches worked in this colour; or the rows done, counted under the colour layout. */
        stitches: z.number().optional(),
        rowsDone: z.number().optional(),
        /** Rounds of the border that are worked besides those rows. */
        borderRoundsDone: z.number().optional(),
      }),
    )
    .optional(),
  /** (d) Label only: false leaves the label estimate out. */
  label: z.boolean().optional(),
  /** Wraps per inch, if counted; sharpens the label estimate. */
  wrapsPerInch: z.number().optional(),
});

export const practiceSchema = z.strictObject({
  /** Yarn left at each end, to weave in. */
  tailMm: lengthSchema.optional(),
  /** Length of a carried strand ÷ the width it is carried over. */
  carriedTakeUp: z.number().optional(),
  /** Rows over which a resting colour is carried up the side rather than cut. */
  carryUpRows: z.number().optional(),
  /** Whether the swatch is kept, so that its yarn counts. */
  keepSwatch: z.boolean().optional(),
  /** Height of row 1 with its foundation ÷ height of other rows. */
  firstRowHeightRatio: z.number().optional(),
});

export const planSpecSchema = z.strictObject({
  name: z.string().max(120).optional(),
  gauge: gaugeSchema,
  stitch: stitchSchema,
  terms: z.enum(['us', 'uk']).optional(),
  units: z.enum(['cm', 'in']).optional(),
  target: targetSchema,
  /** Of the foundation chain or cast-on; the stitch's own when left out. */
  multiple: multipleSchema.optional(),
  /** Of the rows. */
  rowRepeat: multipleSchema.optional(),
  /** Which side the last row must show; row 1 is a right-side row. */
  lastRow: z.enum(['any', 'right-side', 'wrong-side']).optional(),
  /** Counts she has chosen, or has already worked, in place of those nearest to the target. */
  fixed: z.strictObject({ chain: z.number().optional(), rows: z.number().optional() }).optional(),
  colours: z.array(colourSchema).min(1).max(60).optional(),
  layout: layoutSchema.optional(),
  border: borderSchema.nullable().optional(),
  yarn: yarnEvidenceSchema.optional(),
  practice: practiceSchema.optional(),
  hookMm: z.number().optional(),
});

/** What may be sent. */
export type PlanSpec = z.input<typeof planSpecSchema>;
export type Rounding = z.infer<typeof roundingSchema>;
