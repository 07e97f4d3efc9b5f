import { describe, expect, it } from 'vitest';
import { openRivals } from '../../vision/openRivals.ts';

const other = { stitchFactor: 1.16, rowFactor: 0.86, weight: 0.7 };
const half = { stitchFactor: 1, rowFactor: 2, weight: 0.3 };
const all = { support: 4, looks: 4, dissent: [] };
const known = [{ stitch: 'hdc' as const, weight: 0.9 }];
const vague = [{ stitch: 'hdc' as const, weight: 0.5 }];

describe('rivals of a reading', () => {
  it.each([
    ['half or twice alone, where all looks agree on a known fabric', known, all, [half]],
    ['all, where it is open what the fabric is', vague, all, [other, half]],
    ['all, where a look disagrees', known, { ...all, support: 3 }, [other, half]],
    ['all, where there were no other looks', known, null, [other, half]],
  ])('stay open: %s', (_, looksLike, consensus, left) => {
    expect(openRivals({ rivals: [other, half], looksLike }, consensus)).toEqual(left);
  });
});
