import { describe, expect, it } from 'vitest';
import type { Reading } from '../../vision/scale/ruler/readGraduations.ts';
import { readTicks } from '../../vision/scale/ruler/readTicks.ts';
import { endsBetween, strengthBetween } from '../../vision/scale/ruler/strengthBetween.ts';
import { blankBand, PITCH } from './blankBand.ts';

const ROWS = 40;
const BEGIN = 4;
const ZERO = 14;
const GRAY = { widthPx: 1, heightPx: 1, data: new Float32Array(1) };

/** Forty ticks of 20 px, with others half way between them, read as if only the forty were there. */
function reading(betweenPx: number): Reading {
  const { band, ink } = blankBand(ROWS, ZERO);
  const tick = (at: number, lengthPx: number, value: number): void =>
    ink([at - 1, at + 2], [BEGIN, BEGIN + lengthPx], value);
  for (let k = 1; k <= 40; k++) {
    tick(k * PITCH, 20, 0.2);
    tick(k * PITCH - PITCH / 2, betweenPx, 0.4);
  }
  return {
    band,
    followed: { stretches: [], depthPx: 16 },
    run: readTicks(band, 16, -1)!,
    level: { image: GRAY, factor: 1 },
    side: 1,
    basePx: ZERO - BEGIN,
    named: { reachesPx: [BEGIN + 20 - ZERO] },
  } as unknown as Reading;
}

describe('what stands half way between ticks', () => {
  it('is seen, and known to end sooner than they do, where it is shorter', () => {
    expect(strengthBetween(GRAY, reading(12))).toBeGreaterThan(0.3);
    expect(endsBetween(GRAY, reading(12))).toBeLessThan(0.12);
  });

  it('is as strong at their ends where it is as long', () => {
    expect(endsBetween(GRAY, reading(20))).toBeGreaterThan(0.3);
  });
});
