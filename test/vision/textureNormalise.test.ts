import { describe, expect, it } from 'vitest';
import { normaliseTexture } from '../../vision/lattice/normaliseTexture.ts';
import { mapOf, normal } from './waves.ts';

const WIDTH = 160;
const HEIGHT = 120;
const noise = normal(2);
/** Something like cloth: two waves and grain, mid grey, well inside 0…1. */
const cloth = mapOf(
  WIDTH,
  HEIGHT,
  (x, y) => 0.5 + 0.08 * Math.sin(x / 1.9) + 0.1 * Math.sin(y / 2.3) + 0.02 * noise(),
);
const texture = (data: Float32Array) => normaliseTexture({ widthPx: WIDTH, heightPx: HEIGHT, data }).data;
const plain = texture(cloth);

function rmsDifference(a: Float32Array, b: Float32Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += (a[i] - b[i]) ** 2;
  return Math.sqrt(sum / a.length);
}

describe('normaliseTexture', () => {
  it('gives texture of mean 0 and standard deviation 1', () => {
    const mean = plain.reduce((s, v) => s + v, 0) / plain.length;
    const sd = Math.sqrt(plain.reduce((s, v) => s + (v - mean) ** 2, 0) / plain.length);
    // Not exactly: a picture holds no whole number of waves.
    expect(Math.abs(mean)).toBeLessThan(0.05);
    expect(Math.abs(sd - 1)).toBeLessThan(0.05);
  });

  it('does not mind a darker picture of less contrast', () => {
    const dull = cloth.map((v) => 0.2 + 0.4 * (v - 0.5));
    expect(rmsDifference(texture(dull), plain)).toBeLessThan(0.01);
  });

  it('does not mind light that falls off to one side', () => {
    const added = cloth.map((v, i) => v + 0.2 * ((i % WIDTH) / WIDTH - 0.5));
    expect(rmsDifference(texture(added), plain)).toBeLessThan(0.05);
    // A lamp at one side: the far side gets half the light, and half the contrast with it.
    const dimmed = cloth.map((v, i) => v * (1 - (0.5 * (i % WIDTH)) / WIDTH));
    expect(rmsDifference(texture(dimmed), plain)).toBeLessThan(0.15);
  });

  it('turns a flat picture into nothing, not into amplified noise', () => {
    const flat = mapOf(WIDTH, HEIGHT, () => 0.43);
    expect(Math.max(...texture(flat).map(Math.abs))).toBeLessThan(0.01);
  });

  it('cuts single glints off at four standard deviations', () => {
    const glint = Float32Array.from(cloth);
    glint[60 * WIDTH + 80] = 50;
    expect(Math.max(...texture(glint))).toBe(4);
  });
});
