import { z } from 'zod';
import { checkSchema, measureOptionsSchema, measurementSchema, pieceSchema } from '../api/schemas.ts';

/** `piece.json` inside a piece file; its photos lie beside it as `photos/<id>.jpg`. */
export const PIECE_FILE_VERSION = 1;

export const pieceFileSchema = z.object({
  format: z.literal('swatch-gauge-piece'),
  version: z.number().int().positive(),
  piece: pieceSchema.omit({ checks: true }),
  checks: z.array(checkSchema).max(10_000),
  measurements: z
    .array(
      z.object({
        id: z.uuid(),
        photoId: z.uuid(),
        options: measureOptionsSchema,
        measurement: measurementSchema,
        createdAt: z.iso.datetime(),
      }),
    )
    .max(10_000),
  photos: z.array(z.object({ id: z.uuid(), referenceBlurred: z.boolean() })).max(2000),
});
export type PieceFile = z.infer<typeof pieceFileSchema>;

export const photoPath = (id: string): string => `photos/${id}.jpg`;
