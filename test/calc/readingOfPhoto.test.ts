import { describe, expect, it } from 'vitest';
import { type MeasuredPhoto, partOfPhoto, sizeInPhoto } from '../../calc/index.ts';

const sure = (value: number) => ({ value, standardUncertainty: value / 100 });
const corner = (x: number, y: number) => ({ x, y });

const photo: MeasuredPhoto = {
  gauge: { stitchesPer10cm: sure(14), rowsPer10cm: sure(10) },
  localGauge: [],
  lattice: { stitchAngleDeg: 0, rowAngleDeg: -90 },
  counted: { rows: { value: 27, standardUncertainty: 0.4, orElse: 28 } },
  overlay: { rowLinesPx: [[], [], [], []] },
  piece: {
    status: 'ok',
    widthMm: sure(900),
    heightMm: sure(300),
    widths: [],
    heights: [],
    cornersPx: [corner(0, 0), corner(9, 0), corner(9, 3), corner(0, 3)],
  },
};

describe('a photo as a check takes it', () => {
  it('is a part with its rows, counted and seen', () => {
    expect(partOfPhoto(photo, 'a', { fromRow: 1, toRow: 27 })).toEqual({
      name: 'a',
      gauge: photo.gauge,
      localGauge: [],
      rowAngleDeg: -90,
      rowsCounted: 27,
      rowsCountedU: 0.4,
      rowsOrElse: 28,
      rowsSeen: 3,
      rowsInView: { fromRow: 1, toRow: 27 },
    });
    expect(partOfPhoto({ ...photo, counted: { rows: null }, overlay: null }, 'a')).toMatchObject({
      rowsCounted: null,
      rowsSeen: null,
    });
  });

  it('tells a size, and which way its rows run, but only of a sure outline', () => {
    expect(sizeInPhoto(photo)).toMatchObject({ widthMm: sure(900), heightMm: sure(300), rowsUpright: false });
    expect(sizeInPhoto({ ...photo, piece: { ...photo.piece!, status: 'unsure' } })).toBeNull();
    expect(sizeInPhoto({ ...photo, piece: null })).toBeNull();
  });
});
