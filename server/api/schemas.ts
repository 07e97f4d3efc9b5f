/**
 * Everything that crosses the HTTP boundary, as zod schemas; the OpenAPI document is generated from these,
 * and the page builds against the types. Names and shapes here are stable: add, do not rename.
 *
 * All routes live under `/api/v1` and speak JSON unless said otherwise; errors are
 * `application/problem+json` (RFC 9457, see {@link problemSchema}). Times are ISO 8601 in UTC.
 *
 * | method and path                          | takes                                  | gives |
 * |------------------------------------------|----------------------------------------|-------|
 * | GET    /session                          |                                        | 200 Session (mode, limits) |
 * | POST   /account                          | AccountCreate (hosted only)            | 201 Account, sets a cookie |
 * | PATCH  /account                          | PasswordChange                         | 204, ends other sessions |
 * | DELETE /account                          | AccountDelete                          | 204, with everything in it |
 * | POST   /sign-in                          | SignIn                                 | 200 Account, sets a cookie |
 * | POST   /sign-out                         |                                        | 204 |
 * | POST   /photos                           | multipart, one file in field `photo`   | 201 Photo |
 * | GET    /photos/:id                       |                                        | 200 Photo |
 * | GET    /photos/:id/image                 | `?widthPx=` shrinks                    | 200 image/jpeg, upright, no EXIF |
 * | DELETE /photos/:id                       |                                        | 204 (409 while a piece uses it) |
 * | GET    /samples                          |                                        | 200 Sample[] |
 * | GET    /samples/:name/image              | `?widthPx=` shrinks                    | 200 image/jpeg |
 * | POST   /samples/:name/photo              |                                        | 201 Photo, a copy of the sample |
 * | POST   /measurements                     | MeasurementRequest                     | 202 MeasurementJob, `Location` |
 * | GET    /measurements/:id                 |                                        | 200 MeasurementJob |
 * | GET    /measurements/:id/events          |                                        | text/event-stream: `job` events, each a MeasurementJob; closes when finished |
 * | GET    /measurements/:id/overlay         | `?widthPx=`                            | 200 image/png |
 * | DELETE /measurements/:id                 |                                        | 200 MeasurementJob (cancels when still running) |
 * | POST   /plans                            | calc's plan specification              | 200 calc's plan |
 * | GET    /pieces                           | `?deleted=true` lists those to restore | 200 PieceSummary[] newest first |
 * | POST   /pieces                           | PieceCreate                            | 201 Piece |
 * | GET    /pieces/:id                       |                                        | 200 Piece, `ETag` |
 * | PATCH  /pieces/:id                       | PiecePatch                             | 200 Piece (409 when `revision` is stale) |
 * | DELETE /pieces/:id                       |                                        | 200 PieceSummary with `deletedAt` (undo: restore) |
 * | POST   /pieces/:id/restore               |                                        | 200 Piece |
 * | POST   /pieces/:id/checks                | CheckCreate                            | 201 Check |
 * | DELETE /pieces/:id/checks/:checkId       |                                        | 200 Check with `deletedAt` |
 * | POST   /pieces/:id/checks/:checkId/restore |                                      | 200 Check |
 * | GET    /pieces/:id/plan                  |                                        | 200 calc's plan of the piece's stored specification |
 * | GET    /pieces/:id/rows.csv              |                                        | 200 text/csv |
 * | GET    /pieces/:id/yarn.csv              |                                        | 200 text/csv |
 * | GET    /pieces/:id/export                |                                        | 200 application/zip: piece.json and its photos |
 * | POST   /pieces/import                    | multipart, one file in field `piece`   | 201 Piece |
 * | GET    /measuring-sheet.pdf              | `?page=a4\|letter`                     | 200 application/pdf |
 * | POST   /pairings                         | PairingCreate (this computer only)     | 201 Pairing (409 when not shared on the network) |
 * | POST   /pairings/redeem                  | PairingRedeem                          | 200 PairingRedeemed, sets a cookie |
 * | DELETE /pairings                         | (this computer only)                   | 204, signs every phone out |
 * | GET    /openapi.json                     |                                        | 200 OpenAPI 3.1 |
 * | GET    /docs                             |                                        | 200 text/html |
 *
 * Outside `/api/v1`: `GET /healthz`, `GET /readyz`, `GET /metrics`, and the page itself.
 * Every request that changes something needs the header `X-Swatch-Gauge: 1` (a cross-site form cannot send it).
 */
import { z } from 'zod';

import { ACCOUNT_NAME, LONGEST_PASSWORD, SHORTEST_PASSWORD } from '../accounts/limits.ts';
import { BAD_OPTION_CODES } from '../../vision/badOption.ts';
import { STAGES, type MeasureOptions, type Measurement } from '../../vision/measurement.ts';
import type { PieceOutline } from '../../vision/piece/pieceOutline.ts';
import { PAPER_SIZES, REFERENCE_KINDS, STITCH_KEYS, type Point } from '../../vision/types.ts';

const finite = z.number().finite();
const positive = finite.positive();
const uuid = z.uuid();
const instant = z.iso.datetime();

/** Largest coordinate that makes sense, in pixels of the original photo. */
const COORDINATE_LIMIT_PX = 100_000;
const coordinate = finite.min(-COORDINATE_LIMIT_PX).max(COORDINATE_LIMIT_PX);

export const pointSchema = z.strictObject({ x: coordinate, y: coordinate });

const twoPoints = z.tuple([pointSchema, pointSchema]);

/** RFC 9457 problem details, with the product's own stable `code` and the maker's next step as `hint`. */
export const problemSchema = z.object({
  type: z.string(),
  title: z.string(),
  status: z.number().int(),
  detail: z.string().optional(),
  instance: z.string().optional(),
  code: z.string(),
  hint: z.string().optional(),
  /** What exactly is wrong, where one `code` has several causes: a stable code, and the numbers in the sentence. */
  reason: z
    .object({ code: z.string(), values: z.record(z.string(), z.number()) })
    .meta({ description: `Comes with the code "bad-option". Codes: ${BAD_OPTION_CODES.join(', ')}.` })
    .optional(),
  /** What was wrong field by field, for JSON bodies. */
  errors: z.array(z.object({ field: z.string(), message: z.string() })).optional(),
});
export type Problem = z.infer<typeof problemSchema>;

// ---------------------------------------------------------------- measuring

/** How to read a photo; every field is optional. Coordinates are upright pixels of the original photo. */
export const measureOptionsSchema = z.strictObject({
  reference: z.enum(['auto', ...REFERENCE_KINDS]).optional(),
  manual: z
    .union([
      z.strictObject({
        type: z.literal('two-points'),
        pointsPx: twoPoints,
        lengthMm: positive.max(10_000),
      }),
      z.strictObject({
        type: z.literal('rectangle'),
        cornersPx: z.tuple([pointSchema, pointSchema, pointSchema, pointSchema]),
        widthMm: positive.max(10_000),
        heightMm: positive.max(10_000),
      }),
    ])
    .optional(),
  checkLineMm: positive.min(50).max(200).optional(),
  paperSize: z.enum(PAPER_SIZES).optional(),
  stitch: z.enum(STITCH_KEYS).optional(),
  pixelsOnly: z.boolean().optional(),
  regionPx: z.array(pointSchema).min(3).max(64).optional(),
  corrections: z
    .array(
      z.strictObject({
        axis: z.enum(['stitches', 'rows']),
        count: positive.max(1000),
        pointsPx: twoPoints,
      }),
    )
    .max(20)
    .optional(),
  expectedStitchesPer10cm: z
    .strictObject({ low: positive.max(500), high: positive.max(500) })
    .refine((range) => range.low <= range.high, 'low must not be above high')
    .optional(),
  plannedGauge: z
    .strictObject({ stitchesPer10cm: positive.max(500), rowsPer10cm: positive.max(500) })
    .meta({
      description:
        'The gauge that the piece in the photo was planned with: tells halves, doubles and rows taken for columns apart.',
    })
    .optional(),
  outline: z.boolean().optional(),
  cornersPx: z.tuple([pointSchema, pointSchema, pointSchema, pointSchema]).optional(),
}) satisfies z.ZodType<MeasureOptions>;

export const measurementRequestSchema = z.strictObject({
  photoId: uuid,
  options: measureOptionsSchema.default({}),
});
export type MeasurementRequest = z.input<typeof measurementRequestSchema>;

export const measuredSchema = z.object({
  value: finite,
  standardUncertainty: finite.min(0),
  low95: finite,
  high95: finite,
});

/** Whole stitches or rows, and the number next to it where that one may as well be right. */
const wholeCountSchema = measuredSchema.extend({ orElse: finite.nullable().optional() });

const looseFinite = z.number();
const anyPoint = z.object({ x: looseFinite, y: looseFinite }) satisfies z.ZodType<Point>;
const polyline = z.array(anyPoint);
const matrix3 = z.tuple([
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
  looseFinite,
]);
const adviceSchema = z.object({ code: z.string(), message: z.string() });

const sizeAcrossSchema = z.object({
  at: looseFinite,
  lengthMm: measuredSchema,
  endsPx: z.tuple([anyPoint, anyPoint]),
});

/** A whole piece's outline and sizes; see `vision/piece/pieceOutline.ts`. */
export const pieceOutlineSchema = z.object({
  status: z.enum(['ok', 'unsure', 'refused']),
  contourMm: polyline,
  contourPx: polyline,
  cornersPx: z.tuple([anyPoint, anyPoint, anyPoint, anyPoint]).nullable(),
  widths: z.array(sizeAcrossSchema),
  heights: z.array(sizeAcrossSchema),
  widthMm: measuredSchema.nullable(),
  heightMm: measuredSchema.nullable(),
  areaMm2: measuredSchema.nullable(),
  angles: z.array(z.object({ cornerPx: anyPoint, angleDeg: measuredSchema })),
  widerAtTopPercent: measuredSchema.nullable(),
  edgeWaveMm: looseFinite.nullable(),
  clearShare: looseFinite,
  advice: z.array(adviceSchema),
}) satisfies z.ZodType<PieceOutline>;

/** What one photo gave; see `vision/measurement.ts`. */
export const measurementSchema = z.object({
  status: z.enum(['ok', 'unsure', 'refused']),
  photo: z.object({ widthPx: z.number(), heightPx: z.number() }),
  scale: z
    .object({
      kind: z.enum(REFERENCE_KINDS),
      variety: z.string(),
      mmPerPx: looseFinite,
      tiltDeg: looseFinite,
      relativeUncertainty: looseFinite,
      confidence: looseFinite,
      outlinePx: polyline,
      homographyPxToMm: matrix3,
    })
    .nullable(),
  gauge: z.object({ stitchesPer10cm: measuredSchema, rowsPer10cm: measuredSchema }).nullable(),
  lattice: z
    .object({
      stitchPitchPx: looseFinite,
      rowPitchPx: looseFinite,
      stitchAngleDeg: looseFinite,
      rowAngleDeg: looseFinite,
      standardUncertaintyPx: z.object({ stitchPitch: looseFinite, rowPitch: looseFinite }),
    })
    .nullable(),
  counted: z.object({ stitches: wholeCountSchema.nullable(), rows: wholeCountSchema.nullable() }),
  looksLike: z.array(z.object({ stitch: z.enum(STITCH_KEYS), weight: looseFinite })),
  alternatives: z.array(
    z.object({
      stitchesPer10cm: looseFinite.nullable(),
      rowsPer10cm: looseFinite.nullable(),
      stitchPitchPx: looseFinite,
      rowPitchPx: looseFinite,
      weight: looseFinite,
    }),
  ),
  localGauge: z.array(
    z.object({
      centrePx: anyPoint,
      stitchesPer10cm: looseFinite.nullable(),
      rowsPer10cm: looseFinite.nullable(),
      stitchPitchPx: looseFinite,
      rowPitchPx: looseFinite,
      alongRows: looseFinite,
      acrossStitches: looseFinite,
      trust: looseFinite,
    }),
  ),
  overlay: z
    .object({
      fabricOutlinePx: polyline,
      rowLinesPx: z.array(polyline),
      stitchLinesPx: z.array(polyline),
    })
    .nullable(),
  piece: pieceOutlineSchema.nullable().optional(),
  advice: z.array(adviceSchema),
  timingsMs: z.record(z.string(), looseFinite),
}) satisfies z.ZodType<Measurement>;

export const jobStateSchema = z.enum(['queued', 'running', 'finished', 'failed', 'cancelled']);

/** A measuring job: `measurement` is there when `state` is `finished`, `problem` when it is `failed`. */
export const measurementJobSchema = z.object({
  id: uuid,
  photoId: uuid,
  state: jobStateSchema,
  /** Stages finished so far, in order. */
  stagesDone: z.array(z.enum(STAGES)),
  /** Jobs waiting in front of this one when it was asked for. */
  queuedBefore: z.number().int().min(0),
  options: measureOptionsSchema,
  measurement: measurementSchema.nullable(),
  problem: problemSchema.nullable(),
  createdAt: instant,
  finishedAt: instant.nullable(),
});
export type MeasurementJob = Omit<z.infer<typeof measurementJobSchema>, 'measurement' | 'options'> & {
  measurement: Measurement | null;
  options: MeasureOptions;
};

// ---------------------------------------------------------------- photos

export const photoSchema = z.object({
  id: uuid,
  /** Upright size of the original photo. */
  widthPx: z.number().int().positive(),
  heightPx: z.number().int().positive(),
  bytes: z.number().int().positive(),
  /** True once the reference's face has been blurred in the kept picture. */
  referenceBlurred: z.boolean(),
  /** The name of the sample this is a copy of; null for a photo of one's own. */
  sample: z.string().nullable(),
  createdAt: instant,
});
export type Photo = z.infer<typeof photoSchema>;

/** What may come with a photo in its form. */
export const photoFormSchema = z.object({
  /** Options of a measurement to begin at once, as JSON text. */
  measure: z
    .string()
    .transform((text, context): unknown => {
      try {
        return JSON.parse(text);
      } catch {
        context.addIssue('This is not JSON.');
        return z.NEVER;
      }
    })
    .pipe(measureOptionsSchema)
    .optional(),
});

export const admittedPhotoSchema = photoSchema.extend({
  /** There when `measure` came along; null when it could not be asked for just then. */
  measurement: measurementJobSchema.nullable().optional(),
});
export type AdmittedPhoto = Photo & { measurement?: MeasurementJob | null };

export const sampleSchema = z.object({
  name: z.string(),
  title: z.string(),
  /** What it is worked in; null where that is not known. */
  stitch: z.enum(STITCH_KEYS).nullable(),
  widthPx: z.number().int().positive(),
  heightPx: z.number().int().positive(),
});
export type Sample = z.infer<typeof sampleSchema>;

/** What may come with the wish for a sample. */
export const sampleRequestSchema = z.strictObject({
  /** Options to measure it with; a measurement of this copy with the same options is used again. */
  measure: measureOptionsSchema.optional(),
});
export type SampleRequest = z.input<typeof sampleRequestSchema>;

export const imageQuerySchema = z.object({
  widthPx: z.coerce.number().int().min(16).max(8192).optional(),
});

// ---------------------------------------------------------------- pieces

const name = z.string().trim().min(1).max(120);

/** Deepest nesting and largest size of the free-form JSON that a piece may carry. */
const JSON_DEPTH_LIMIT = 24;
const withinDepth = (value: unknown, depth = 0): boolean =>
  depth <= JSON_DEPTH_LIMIT &&
  (typeof value !== 'object' ||
    value === null ||
    Object.values(value).every((v) => withinDepth(v, depth + 1)));

/** A JSON object whose insides belong to `calc` or to the page. */
const jsonObject = z
  .record(z.string().max(200), z.unknown())
  .refine((value) => withinDepth(value), `nested deeper than ${JSON_DEPTH_LIMIT} levels`);

/** One measured (or hand-counted) swatch of a piece. */
export const swatchSchema = z.strictObject({
  id: uuid,
  /** `main` carries the piece's gauge; `border` the border stitch's. */
  role: z.enum(['main', 'border', 'other']),
  photoId: uuid.nullable().default(null),
  measurementId: uuid.nullable().default(null),
  stitch: z.enum(STITCH_KEYS).nullable().default(null),
  /** The gauge the piece goes by: the measurement's, an alternative she chose, or one typed by hand. */
  gauge: z
    .strictObject({ stitchesPer10cm: measuredSchema, rowsPer10cm: measuredSchema })
    .nullable()
    .default(null),
  gaugeFrom: z.enum(['measurement', 'alternative', 'hand']).nullable().default(null),
  widthMm: positive.max(10_000).nullable().default(null),
  heightMm: positive.max(10_000).nullable().default(null),
  weightGrams: positive.max(10_000).nullable().default(null),
  note: z.string().max(2000).default(''),
});
export type Swatch = z.infer<typeof swatchSchema>;

/** A mid-project check, kept with its photos, row, gauge and what was concluded. */
export const checkSchema = z.object({
  id: uuid,
  at: instant,
  photoIds: z.array(uuid),
  measurementIds: z.array(uuid),
  rowsDone: z.number().int().nullable(),
  gramsLeft: z.record(z.string(), z.number()),
  /** The outcome as the page or the command line computed it (calc's check result). */
  result: jsonObject,
  note: z.string(),
  deletedAt: instant.nullable(),
});
export type Check = z.infer<typeof checkSchema>;

export const checkCreateSchema = z.strictObject({
  photoIds: z.array(uuid).max(20).default([]),
  measurementIds: z.array(uuid).max(20).default([]),
  rowsDone: z.number().int().min(0).max(100_000).nullable().default(null),
  /** Grams left by colour key. */
  gramsLeft: z.record(z.string().min(1).max(60), finite.min(0).max(100_000)).default({}),
  result: jsonObject.default({}),
  note: z.string().max(2000).default(''),
});
export type CheckCreate = z.input<typeof checkCreateSchema>;

const pieceFields = {
  name,
  units: z.enum(['cm', 'in']),
  terms: z.enum(['us', 'uk']),
  note: z.string().max(10_000),
  swatches: z.array(swatchSchema).max(20),
  /** calc's plan specification (checked by calc when it is stored), or null while there is none. */
  plan: jsonObject.nullable(),
  /** What the page wants to remember of its own about the piece (open tab, overlay on or off…). */
  view: jsonObject,
};

export const pieceSchema = z.object({
  id: uuid,
  /** Counts up with each change; send it back with PATCH. */
  revision: z.number().int().positive(),
  ...pieceFields,
  swatches: z.array(swatchSchema),
  checks: z.array(checkSchema),
  createdAt: instant,
  updatedAt: instant,
  deletedAt: instant.nullable(),
});
export type Piece = z.infer<typeof pieceSchema>;

export const pieceSummarySchema = z.object({
  id: uuid,
  name,
  revision: z.number().int().positive(),
  /** Photo of the main swatch, for the list. */
  photoId: uuid.nullable(),
  checkCount: z.number().int().min(0),
  createdAt: instant,
  updatedAt: instant,
  deletedAt: instant.nullable(),
});
export type PieceSummary = z.infer<typeof pieceSummarySchema>;

export const pieceCreateSchema = z.strictObject({
  name: pieceFields.name,
  units: pieceFields.units.default('cm'),
  terms: pieceFields.terms.default('us'),
  note: pieceFields.note.default(''),
  swatches: pieceFields.swatches.default([]),
  plan: pieceFields.plan.default(null),
  view: pieceFields.view.default({}),
});
export type PieceCreate = z.input<typeof pieceCreateSchema>;

export const piecePatchSchema = z.strictObject({
  revision: z.number().int().positive(),
  name: pieceFields.name.optional(),
  units: pieceFields.units.optional(),
  terms: pieceFields.terms.optional(),
  note: pieceFields.note.optional(),
  swatches: pieceFields.swatches.optional(),
  plan: pieceFields.plan.optional(),
  view: pieceFields.view.optional(),
});
export type PiecePatch = z.input<typeof piecePatchSchema>;

// ---------------------------------------------------------------- the rest

export const sessionSchema = z.object({
  version: z.string(),
  /** `local`: this computer only; `network`: phones on the home network may be paired; `hosted`: accounts. */
  mode: z.enum(['local', 'network', 'hosted']),
  /** True on the computer that runs the program, false on a paired phone. */
  isHost: z.boolean(),
  /** Who is signed in on a hosted server. */
  account: z
    .object({
      name: z.string(),
      /** She came in with a password that the operator gave, good for that once: she should choose her own. */
      passwordIsOneTime: z.boolean().optional(),
    })
    .nullable(),
  /** Whether a hosted server asks newcomers for its invitation. */
  invitationNeeded: z.boolean(),
  /** Megapixels of an ordinary JPEG; progressive ones and other formats, which are decoded as a whole: 50. */
  limits: z.object({ photoBytes: z.number(), photoMegapixels: z.number(), pieceFileBytes: z.number() }),
});
export type Session = z.infer<typeof sessionSchema>;

const accountName = z.string().trim().regex(ACCOUNT_NAME, 'letters, digits, dots, hyphens; 2 to 40 of them');
const newPassword = z.string().min(SHORTEST_PASSWORD).max(LONGEST_PASSWORD);
const anyPassword = z.string().min(1).max(LONGEST_PASSWORD);

export const accountCreateSchema = z.strictObject({
  name: accountName,
  password: newPassword,
  invitation: z.string().max(200).default(''),
});
export const signInSchema = z.strictObject({ name: z.string().trim().min(1).max(80), password: anyPassword });
export const passwordChangeSchema = z.strictObject({ password: anyPassword, newPassword });
export const accountDeleteSchema = z.strictObject({ password: anyPassword });
export const accountSchema = z.object({ name: z.string() });

export const pairingCreateSchema = z.strictObject({ pieceId: uuid.nullable().default(null) });
export const pairingSchema = z.object({
  /** One-time; typed or scanned within its life. */
  code: z.string(),
  /** What the QR code says: a page address on the local network. */
  url: z.string(),
  qrSvg: z.string(),
  expiresAt: instant,
});
export type Pairing = z.infer<typeof pairingSchema>;
export const pairingRedeemSchema = z.strictObject({ code: z.string().min(1).max(64) });
export const pairingRedeemedSchema = z.object({ pieceId: uuid.nullable() });

export const measuringSheetQuerySchema = z.object({ page: z.enum(['a4', 'letter']).default('a4') });
