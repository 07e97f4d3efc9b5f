import { describe, expect, it } from 'vitest';
import { unevennessOf } from '../../vision/piece/unevennessOf.ts';

describe('unevennessOf', () => {
  it('is the difference of the depths over their mean, less what the outlines may be off by', () => {
    expect(unevennessOf([20, 22, 21, 25], 22)).toBeCloseTo(3.5 / 22, 9);
    expect(unevennessOf([20, 21, 20.5], 20.5)).toBe(0);
  });

  it('does not make much of a margin that is hardly there', () => {
    expect(unevennessOf([0, 2], 0.1)).toBeCloseTo(0.5, 9);
  });
});
