import { expect, it, vi } from 'vitest';
import type { measurePhoto } from '../../vision/measurePhoto.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { measurePiece } from '../../vision/piece/measurePiece.ts';

const REFUSED: Measurement = {
  status: 'refused',
  photo: { widthPx: 3000, heightPx: 2000 },
  scale: null,
  gauge: null,
  lattice: null,
  counted: { stitches: null, rows: null },
  looksLike: [],
  alternatives: [],
  localGauge: [],
  overlay: null,
  advice: [],
  timingsMs: {},
};

const answer = vi.hoisted(() => ({ codes: [] as string[] }));
vi.mock('../../vision/measurePhoto.ts', () => ({
  measurePhoto: (async () => ({
    ...REFUSED,
    advice: answer.codes.map((code) => ({ code, message: `${code}: come closer.` })),
  })) satisfies typeof measurePhoto,
}));

it.each(['ruler-units-unclear', 'ruler-unread'])(
  'does not ask her to come closer whose whole piece has to be in view (%s)',
  async (code) => {
    answer.codes = [code, 'no-fabric'];
    const { advice, piece } = await measurePiece(new Uint8Array());
    expect(piece).toBeNull();
    expect(advice.map(({ code }) => code)).toEqual(['tape-too-far', 'no-fabric']);
    expect(advice[0]!.message).toContain('Read the height off the tape yourself');
    expect(advice[0]!.message).not.toContain('ome closer');
  },
);

it.each(['no-reference', 'reference-uncertain'])(
  'says which reference a whole piece needs where none was found (%s)',
  async (code) => {
    answer.codes = [code];
    const { advice } = await measurePiece(new Uint8Array());
    expect(advice.map((one) => one.code)).toEqual([code, 'sheet-for-whole-piece']);
    expect(advice[1]!.message).toContain('measuring sheet on its middle');
  },
);
