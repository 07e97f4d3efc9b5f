import { describe, expect, it } from 'vitest';
import { demodulate } from '../../vision/lattice/demodulate.ts';
import { everywhere, mapOf, turnsApart, waveOf } from './waves.ts';

const WIDTH = 200;
const HEIGHT = 120;
const all = everywhere(WIDTH, HEIGHT);
const carrier = { kx: 0.1, ky: 0.02 };
const onCarrier = (x: number, y: number) => carrier.kx * x + carrier.ky * y;
const inner = (n: { x: number; y: number }) => n.x > 20 && n.y > 20 && n.x < WIDTH - 20 && n.y < HEIGHT - 20;

describe('demodulate', () => {
  it('reads a constant phase and the amplitude of a plane wave', () => {
    const map = waveOf(WIDTH, HEIGHT, (x, y) => onCarrier(x, y) + 0.3).map((v) => 0.7 * v);
    const { nodes } = demodulate(map, all, WIDTH, HEIGHT, carrier, 9, 10);
    for (const node of nodes.filter(inner)) {
      expect(turnsApart(node.phase, 0.3)).toBeLessThan(0.005);
      expect(node.amplitude).toBeCloseTo(0.7, 2);
      expect(node.support).toBeGreaterThan(0.99);
    }
  });

  it('follows a chirp: a wave that gets 20 % shorter from left to right', () => {
    // Phase k·x + c·x², so that the local frequency k + 2c·x grows from 0.09 to 0.11.
    const chirp = (x: number, y: number) => 0.09 * x + 5e-5 * x * x + carrier.ky * y;
    const { nodes } = demodulate(waveOf(WIDTH, HEIGHT, chirp), all, WIDTH, HEIGHT, carrier, 9, 10);
    for (const node of nodes.filter(inner)) {
      const expected = chirp(node.x, node.y) - onCarrier(node.x, node.y);
      expect(turnsApart(node.phase, expected)).toBeLessThan(0.02);
    }
  });

  it('is not led astray by where the cloth ends', () => {
    const cloth = mapOf(WIDTH, HEIGHT, (x) => (x < 120 ? 1 : 0));
    const map = waveOf(WIDTH, HEIGHT, (x, y) => onCarrier(x, y) - 0.2);
    // What lies beside the cloth is strong and has another phase.
    const beside = map.map((v, i) => (cloth[i] ? v : 5));
    const { nodes } = demodulate(beside, cloth, WIDTH, HEIGHT, carrier, 9, 10);
    const onCloth = nodes.filter((n) => n.x < 115 && n.y > 20 && n.y < HEIGHT - 20);
    expect(onCloth.length).toBeGreaterThan(50);
    for (const node of onCloth) expect(turnsApart(node.phase, -0.2)).toBeLessThan(0.08);
    const far = nodes.filter((n) => n.x > 160);
    expect(far.length).toBeGreaterThan(20);
    for (const node of far) expect(node.support).toBeLessThan(0.01);
  });

  it('gives hardly any amplitude where another wave runs', () => {
    const other = waveOf(WIDTH, HEIGHT, (_x, y) => 0.13 * y);
    const { nodes } = demodulate(other, all, WIDTH, HEIGHT, carrier, 9, 10);
    for (const node of nodes.filter(inner)) expect(node.amplitude).toBeLessThan(0.05);
  });

  it('lays its nodes on a grid that covers the map', () => {
    const { nodes, columns, rows } = demodulate(all, all, WIDTH, HEIGHT, carrier, 9, 10);
    expect([columns, rows, nodes.length]).toEqual([20, 12, 240]);
    expect(nodes[3 * columns + 7]).toMatchObject({ column: 7, row: 3, x: 75, y: 35 });
  });
});
