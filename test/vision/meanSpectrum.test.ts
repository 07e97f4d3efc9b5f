import { describe, expect, it } from 'vitest';
import { meanSpectrum, powerAt, strongestWaves } from '../../vision/lattice/meanSpectrum.ts';
import { everywhere, mapOf, normal, waveOf } from './waves.ts';

const SIZE = 192;
const all = everywhere(SIZE, SIZE);

/** A plane wave of this period, px, running at this angle from the x axis. */
function plane(periodPx: number, degrees: number) {
  const a = (degrees * Math.PI) / 180;
  const k = { kx: Math.cos(a) / periodPx, ky: Math.sin(a) / periodPx };
  return { ...k, map: waveOf(SIZE, SIZE, (x, y) => k.kx * x + k.ky * y) };
}

describe('meanSpectrum and strongestWaves', () => {
  it.each([
    [5.3, 0],
    [7.9, 31],
    [11.7, 64],
    [13.4, 90],
    [8.6, 150],
  ])('tell a period of %f px at %i° to within 1 %%', (periodPx, degrees) => {
    const { kx, ky, map } = plane(periodPx, degrees);
    const [best] = strongestWaves(meanSpectrum(map, all, SIZE, SIZE, 64), 1);
    expect(Math.abs(Math.hypot(best.kx, best.ky) * periodPx - 1)).toBeLessThan(0.01);
    // One of the two directions that a wave has.
    const sign = best.kx * kx + best.ky * ky < 0 ? -1 : 1;
    expect(Math.hypot(sign * best.kx - kx, sign * best.ky - ky) * periodPx).toBeLessThan(0.015);
  });

  it('tell it through noise three times as strong as the wave', () => {
    const { map } = plane(9.3, 12);
    const noise = normal(3);
    // The wave's standard deviation is √½.
    const noisy = map.map((v) => v + 3 * Math.SQRT1_2 * noise());
    const [best] = strongestWaves(meanSpectrum(noisy, all, SIZE, SIZE, 64), 1);
    expect(Math.abs(Math.hypot(best.kx, best.ky) * 9.3 - 1)).toBeLessThan(0.01);
  });

  it('average over windows, so that rows whose phase jumps halfway do not cancel', () => {
    const k = 1 / 8;
    const straight = waveOf(SIZE, SIZE, (_x, y) => k * y);
    const broken = waveOf(SIZE, SIZE, (x, y) => k * y + (x < SIZE / 2 ? 0 : 0.5));
    const at = (map: Float32Array) => powerAt(meanSpectrum(map, all, SIZE, SIZE, 64), { kx: 0, ky: k });
    expect(at(broken)).toBeGreaterThan(0.5 * at(straight));
    // One window over everything: the halves are in opposite phase and nothing is left of this wave.
    const whole = (map: Float32Array) =>
      powerAt(meanSpectrum(map.slice(0, 128 * 128), everywhere(128, 128), 128, 128, 128), { kx: 0, ky: k });
    const cut = (turns: (x: number, y: number) => number) => waveOf(128, 128, turns);
    expect(whole(cut((x, y) => k * y + (x < 64 ? 0 : 0.5)))).toBeLessThan(
      0.01 * whole(cut((_x, y) => k * y)),
    );
  });

  it('look only where there is cloth', () => {
    const cloth = mapOf(SIZE, SIZE, (x) => (x < SIZE / 2 ? 1 : 0));
    // A much stronger wave of another period lies beside the cloth.
    const map = mapOf(SIZE, SIZE, (x, y) =>
      x < SIZE / 2 ? Math.cos((2 * Math.PI * y) / 9) : 20 * Math.cos((2 * Math.PI * x) / 6),
    );
    const [best] = strongestWaves(meanSpectrum(map, cloth, SIZE, SIZE, 64), 1);
    expect(Math.abs(Math.hypot(best.kx, best.ky) * 9 - 1)).toBeLessThan(0.01);
  });

  it('take slow light for no wave', () => {
    const light = mapOf(SIZE, SIZE, (x, y) => 0.02 * x + Math.sin(y / 60));
    const { map } = plane(10, 80);
    const lit = map.map((v, i) => 0.2 * v + light[i]);
    const [best] = strongestWaves(meanSpectrum(lit, all, SIZE, SIZE, 64), 1);
    expect(Math.abs(Math.hypot(best.kx, best.ky) * 10 - 1)).toBeLessThan(0.02);
  });

  it('say so when there is no cloth at all', () => {
    const none = new Float32Array(SIZE * SIZE);
    const spectrum = meanSpectrum(plane(10, 0).map, none, SIZE, SIZE, 64);
    expect(spectrum.windowCount).toBe(0);
    expect(strongestWaves(spectrum, 12)).toEqual([]);
  });
});
