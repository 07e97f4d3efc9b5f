import { describe, expect, it } from 'vitest';
import { demodulate } from '../../vision/lattice/demodulate.ts';
import { fitPhaseField } from '../../vision/lattice/fitPhaseField.ts';
import { everywhere, normal, turnsApart, uniform, waveOf } from './waves.ts';

const WIDTH = 160;
const HEIGHT = 160;
const all = everywhere(WIDTH, HEIGHT);
const PERIOD = 10;
const carrier = { kx: 0, ky: 1 / PERIOD };
const read = (map: Float32Array) => demodulate(map, all, WIDTH, HEIGHT, carrier, 8, 9);

/** Rows that sag in the middle by 0.8 of a row, as cloth that was pulled at its corners. */
const bent = (x: number, y: number) => y / PERIOD + 0.8 * ((x - WIDTH / 2) / (WIDTH / 2)) ** 2 + 0.15;

describe('fitPhaseField', () => {
  it('follows bent rows to within 0.05 turn, and counts the rows between two places', () => {
    const field = fitPhaseField(read(waveOf(WIDTH, HEIGHT, bent)), carrier, { minAmplitude: 0.12 })!;
    for (let y = 15; y < HEIGHT - 15; y += 5) {
      for (let x = 15; x < WIDTH - 15; x += 5) {
        expect(turnsApart(field.phaseAt(x, y), bent(x, y))).toBeLessThan(0.05);
      }
    }
    expect(field.phaseAt(20, 140) - field.phaseAt(80, 20)).toBeCloseTo(bent(20, 140) - bent(80, 20), 1);
    expect(field.degree).toBeGreaterThanOrEqual(2);
    expect(field.agreement).toBeGreaterThan(0.95);
  });

  it('gives the gradient of what it says, so that pitches agree with counts', () => {
    const field = fitPhaseField(read(waveOf(WIDTH, HEIGHT, bent)), carrier, { minAmplitude: 0.12 })!;
    const h = 0.01;
    for (const [x, y] of [
      [40, 60],
      [80, 80],
      [130, 30],
    ]) {
      const g = field.gradientAt(x, y);
      expect(g.x).toBeCloseTo((field.phaseAt(x + h, y) - field.phaseAt(x - h, y)) / (2 * h), 6);
      expect(g.y).toBeCloseTo((field.phaseAt(x, y + h) - field.phaseAt(x, y - h)) / (2 * h), 6);
    }
  });

  it('bends no more than it must: straight rows are fitted straight', () => {
    const noise = normal(5);
    const map = waveOf(WIDTH, HEIGHT, (_x, y) => y / 10.3).map((v) => v + 0.8 * noise());
    const field = fitPhaseField(read(map), carrier, { minAmplitude: 0.12 })!;
    expect(field.degree).toBe(1);
    const g = field.gradientAt(80, 80);
    expect(Math.abs(10.3 * Math.hypot(g.x, g.y) - 1)).toBeLessThan(0.01);
  });

  it.each([1, 2, 3, 4, 5])('throws out one node in five that is plainly wrong (draw %i)', (seed) => {
    const demodulated = read(waveOf(WIDTH, HEIGHT, bent));
    const draw = uniform(seed * 7919);
    const wrong = new Set<object>();
    for (const node of demodulated.nodes) {
      if (draw() > 0.2) continue;
      // As strong as the others, and half a turn away: the middle of a row taken for its edge.
      node.phase += 0.5 + 0.2 * (draw() - 0.5);
      wrong.add(node);
    }
    const share = wrong.size / demodulated.nodes.length;
    expect(share).toBeGreaterThan(0.12);
    const field = fitPhaseField(demodulated, carrier, { minAmplitude: 0.12 })!;
    for (let y = 20; y < HEIGHT - 20; y += 10) {
      for (let x = 20; x < WIDTH - 20; x += 10) {
        expect(turnsApart(field.phaseAt(x, y), bent(x, y))).toBeLessThan(0.05);
      }
    }
    expect(field.inliers.filter((node) => wrong.has(node))).toEqual([]);
    expect(Math.abs(field.agreement - (1 - share))).toBeLessThan(0.05);
  });

  it('states an uncertainty of the right order', () => {
    // 40 maps of one wave with fresh noise: how much the pitch scatters, against what the fit says of itself.
    const noise = normal(17);
    const wave = waveOf(WIDTH, HEIGHT, (_x, y) => y / PERIOD);
    const pitches: number[] = [];
    let stated = 0;
    for (let i = 0; i < 40; i++) {
      const field = fitPhaseField(read(wave.map((v) => v + 3 * noise())), carrier, {
        minAmplitude: 0.12,
        maxDegree: 1,
      })!;
      const g = field.gradientAt(80, 80);
      pitches.push(1 / Math.hypot(g.x, g.y));
      stated += field.relativeUncertainty / 40;
    }
    const mean = pitches.reduce((s, p) => s + p, 0) / pitches.length;
    const sd = Math.sqrt(pitches.reduce((s, p) => s + (p - mean) ** 2, 0) / (pitches.length - 1));
    expect(Math.abs(mean / PERIOD - 1)).toBeLessThan(0.002);
    // `meanPitches` multiplies by 1.6 on top.
    expect(stated / (sd / mean)).toBeGreaterThan(0.5);
    expect(stated / (sd / mean)).toBeLessThan(2.5);
  });

  it('finds nothing where no wave is', () => {
    const flat = new Float32Array(WIDTH * HEIGHT);
    expect(fitPhaseField(read(flat), carrier, { minAmplitude: 0.12 })).toBeNull();
  });

  it('agrees with few nodes when there is only noise', () => {
    const noise = normal(23);
    const field = fitPhaseField(read(all.map(() => 2 * noise())), carrier, { minAmplitude: 0.12 });
    expect(field?.agreement ?? 0).toBeLessThan(0.6);
  });
});
