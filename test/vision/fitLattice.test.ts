import { beforeAll, describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { findFabric, type Fabric } from '../../vision/findFabric.ts';
import { fitLattice, type LatticeFit } from '../../vision/fitLattice.ts';
import type { GrayImage } from '../../vision/types.ts';
import { marks, middleOf, sample, type Sample } from './samples.ts';
import { normal } from './waves.ts';

const relative = (a: number, b: number) => Math.abs(a / b - 1);

describe('findFabric and fitLattice', () => {
  let one: Sample;
  let gray: GrayImage;
  let fabric: Fabric;
  let lattice: LatticeFit;

  // The photo is nearly square on, so that it can be read as it is; its truth is known in its pixels.
  beforeAll(async () => {
    one = await sample('hdc-swatch-card');
    gray = (await decodePhoto(one.bytes)).gray;
    fabric = (await findFabric(gray))!;
    lattice = (await fitLattice(gray, fabric))!;
  });

  it('find the swatch, about how fine it is and which way it lies', () => {
    const { outlinePx, stitchPitchPx, rowPitchPx, stitchAngleDeg } = one.truth.fabric;
    const left = Math.min(...outlinePx.map((p) => p.x));
    const right = Math.max(...outlinePx.map((p) => p.x));
    const top = Math.min(...outlinePx.map((p) => p.y));
    const bottom = Math.max(...outlinePx.map((p) => p.y));
    expect(Math.abs(fabric.bounds.left - left)).toBeLessThan(stitchPitchPx);
    expect(Math.abs(fabric.bounds.top - top)).toBeLessThan(stitchPitchPx);
    expect(Math.abs(fabric.bounds.width - (right - left))).toBeLessThan(2 * stitchPitchPx);
    expect(Math.abs(fabric.bounds.height - (bottom - top))).toBeLessThan(2 * stitchPitchPx);
    const pitch = Math.sqrt(fabric.stitchPitchPx * fabric.rowPitchPx);
    expect(relative(pitch, Math.sqrt(stitchPitchPx * rowPitchPx))).toBeLessThan(0.2);
    expect(Math.abs(fabric.rowDirectionDeg - stitchAngleDeg)).toBeLessThan(5);
    expect(fabric.looksLike.reduce((s, l) => s + l.weight, 0)).toBeCloseTo(1, 4);
  });

  it('measure stitch and row at the middle of the cloth to within 2 %', () => {
    const { x, y } = middleOf(one);
    const cell = lattice.cellAt(x, y);
    expect(relative(cell.stitchPitchPx, one.truth.fabric.stitchPitchPx)).toBeLessThan(0.02);
    expect(relative(cell.rowPitchPx, one.truth.fabric.rowPitchPx)).toBeLessThan(0.02);
  });

  it.each<['stitches' | 'rows', number]>([
    ['stitches', 12],
    ['rows', 9],
  ])('count %s between two places: phases differ by %i', (axis, count) => {
    const [a, b] = marks(one, axis, count);
    const phase = axis === 'stitches' ? lattice.stitchPhaseAt : lattice.rowPhaseAt;
    // Stitches are counted to the right and rows upward.
    expect(Math.abs(phase(b.x, b.y) - phase(a.x, a.y) - count)).toBeLessThan(0.35);
  });

  it('find the place that belongs to a pair of phases', () => {
    const from = middleOf(one);
    const s = Math.round(lattice.stitchPhaseAt(from.x, from.y)) + 4;
    const r = Math.round(lattice.rowPhaseAt(from.x, from.y)) - 3;
    const p = lattice.locate(s, r, from);
    expect(lattice.stitchPhaseAt(p.x, p.y)).toBeCloseTo(s, 2);
    expect(lattice.rowPhaseAt(p.x, p.y)).toBeCloseTo(r, 2);
  });

  it('read places on the cloth only', () => {
    expect(lattice.places.length).toBeGreaterThan(30);
    const { left, top, width, height } = fabric.bounds;
    // The first look knows the cloth's edge to about a stitch.
    const margin = one.truth.fabric.stitchPitchPx;
    for (const p of lattice.places) {
      expect(p.x > left - margin && p.x < left + width + margin).toBe(true);
      expect(p.y > top - margin && p.y < top + height + margin).toBe(true);
      expect(p.trust).toBeGreaterThan(0);
      expect(p.trust).toBeLessThanOrEqual(1);
    }
  });

  it('agree with themselves on a clear photo, and state what is left', () => {
    expect(lattice.quality.stitchAgreement).toBeGreaterThan(0.6);
    expect(lattice.quality.rowAgreement).toBeGreaterThan(0.6);
    expect(lattice.quality.stitchRelativeUncertainty).toBeLessThan(0.02);
    expect(lattice.quality.rowRelativeUncertainty).toBeLessThan(0.02);
    expect(Math.abs(lattice.quality.repeats.stitches - one.truth.fabric.stitchCount)).toBeLessThan(3);
    expect(Math.abs(lattice.quality.repeats.rows - one.truth.fabric.rowCount)).toBeLessThan(3);
  });

  it.each([8, 9, 10])('follow nothing in noise (draw %i)', async (seed) => {
    const noise = normal(seed);
    const data = Float32Array.from({ length: 320 * 240 }, () => 0.5 + 0.15 * noise());
    const noisy = { widthPx: 320, heightPx: 240, data };
    const seen = await findFabric(noisy);
    const fit = seen && (await fitLattice(noisy, seen));
    // `judge` refuses below 0.3.
    expect(fit ? Math.min(fit.quality.stitchAgreement, fit.quality.rowAgreement) : 0).toBeLessThan(0.3);
  });

  it('do not look where cloth may not be', async () => {
    const none = { widthPx: gray.widthPx, heightPx: gray.heightPx, data: new Uint8Array(gray.data.length) };
    expect(await findFabric(gray, { allowed: none })).toBeNull();
    expect(await fitLattice(gray, fabric, { allowed: none })).toBeNull();
  });
});
