import { describe, expect, it } from 'vitest';
import { compareLooks } from '../../vision/lattice/compareLooks.ts';
import { lookAgain, LOOKS } from '../../vision/lattice/lookAgain.ts';
import { transpose } from '../../vision/lattice/transpose.ts';
import { findFabric } from '../../vision/findFabric.ts';
import { randomFabricSpec } from '../../fixtures/fabric/randomFabricSpec.ts';
import { renderFabric } from '../../fixtures/fabric/renderFabric.ts';

const reading = { stitchPitchPx: 20, rowPitchPx: 15, rowDirectionDeg: 88 };

describe('other looks at the same cloth', () => {
  it('support a reading that they share, also across the turn of the angle', () => {
    const others = [
      { stitchPitchPx: 20.6, rowPitchPx: 14.8, rowDirectionDeg: -89 },
      { stitchPitchPx: 19.4, rowPitchPx: 15.2, rowDirectionDeg: 85 },
    ];
    expect(compareLooks(reading, others)).toEqual({ support: 2, looks: 2, dissent: [] });
  });

  it('that see rows where it saw columns do not support it', () => {
    const turned = { stitchPitchPx: 20, rowPitchPx: 15, rowDirectionDeg: 0 };
    expect(compareLooks(reading, [turned]).support).toBe(0);
  });

  it('are gathered by what they agree on, most votes first', () => {
    const halved = { ...reading, rowPitchPx: 7.5 };
    const { dissent } = compareLooks(reading, [{ ...reading, stitchPitchPx: 31 }, halved, halved]);
    expect(dissent).toHaveLength(2);
    expect(dissent[0]).toMatchObject({ votes: 2, stitchFactor: expect.closeTo(1) });
    expect(dissent[0]!.rowFactor).toBeCloseTo(0.5);
  });
});

describe('looking again', () => {
  it('finds the stitches of clear cloth at every size and either way up, within 8 %', async () => {
    const spec = randomFabricSpec(11, { stitch: 'stockinette', layout: 'solid', difficulty: 0.3 });
    const fabric = renderFabric(
      { ...spec, stitchCount: 24, rowCount: 30 },
      { direction: [-1, -1, 1.2], ambient: 0.4 },
      { pxPerMm: 20 * (spec.stitchesPer10cm / 100) },
    );
    const { widthPx, heightPx } = fabric;
    const data = new Float32Array(widthPx * heightPx);
    for (let i = 0; i < data.length; i++)
      data[i] = Math.sqrt(Math.min(1, fabric.rgb[3 * i + 1]! + 0.3 * (1 - fabric.alpha[i]!)));
    const picture = { widthPx, heightPx, data };
    const found = await findFabric(picture, { stitch: 'stockinette' });
    expect(found).not.toBeNull();
    for (const look of LOOKS) {
      const one = (await lookAgain(picture, found!, look, { stitch: 'stockinette' }))!;
      expect(Math.abs(one.stitchPitchPx / (fabric.meanStitchWidthMm * fabric.pxPerMm) - 1)).toBeLessThan(
        0.08,
      );
      expect(Math.abs(one.rowPitchPx / (fabric.meanRowHeightMm * fabric.pxPerMm) - 1)).toBeLessThan(0.08);
    }
  });
});

describe('exchanging the axes', () => {
  it('twice gives the picture back', () => {
    const picture = { widthPx: 3, heightPx: 2, data: Float32Array.from([1, 2, 3, 4, 5, 6]) };
    expect(transpose(picture).data).toEqual(Float32Array.from([1, 4, 2, 5, 3, 6]));
    expect(transpose(transpose(picture))).toEqual(picture);
  });
});
