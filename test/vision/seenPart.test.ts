import { describe, expect, it } from 'vitest';
import { seenPart } from '../../vision/seenPart.ts';

const size = { widthPx: 100, heightPx: 80 };

describe('seenPart', () => {
  it('holds the points and the pixels next to them, inside the picture', () => {
    expect(seenPart(size, [10.5, 20], [-3, 4])).toEqual({ leftPx: 9, topPx: 0, widthPx: 13, heightPx: 6 });
    expect(seenPart(size, [0, 99], [0, 79])).toEqual({ leftPx: 0, topPx: 0, widthPx: 100, heightPx: 80 });
  });

  it('is not empty where all points lie outside', () => {
    expect(seenPart(size, [200, 300], [-20, -10])).toEqual({
      leftPx: 99,
      topPx: 0,
      widthPx: 1,
      heightPx: 1,
    });
  });
});
