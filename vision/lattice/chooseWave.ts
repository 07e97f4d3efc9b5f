import { powerAt, strongestWaves, type Spectrum, type Wave } from './meanSpectrum.ts';

/** A wave that may be the one, and how much speaks for it. */
export interface WaveChoice {
  wave: Wave;
  weight: number;
  pitch: number;
}

/**
 * Which wave is the one: near the pitch that the reader expects, in about the right direction, and strong.
 * `along` is the unit vector along which the pitch is counted (square to rows; along the row for stitches).
 * The expected wave itself is a candidate too: when no peak is near it, following a far one would be worse.
 */
export function chooseWave(
  spectrum: Spectrum,
  along: { x: number; y: number },
  expectedPitch: number,
  pitchSd: number,
  angleSdDeg: number,
): WaveChoice[] {
  const expected = { kx: along.x / expectedPitch, ky: along.y / expectedPitch };
  return [...strongestWaves(spectrum, 12), { ...expected, power: powerAt(spectrum, expected) }]
    .map((wave) => {
      const k = Math.hypot(wave.kx, wave.ky);
      const dot = (wave.kx * along.x + wave.ky * along.y) / k;
      const offDeg = (Math.acos(Math.min(1, Math.abs(dot))) * 180) / Math.PI;
      const pitch = 1 / (k * Math.max(0.3, Math.abs(dot)));
      const z = Math.log(pitch / expectedPitch) / pitchSd;
      const weight = wave.power * Math.exp(-0.5 * z * z - 0.5 * (offDeg / angleSdDeg) ** 2);
      // Phases should grow along `along`, whichever way the spectrum gave the wave.
      const sign = dot < 0 ? -1 : 1;
      return { wave: { kx: sign * wave.kx, ky: sign * wave.ky, power: wave.power }, weight, pitch };
    })
    .sort((a, b) => b.weight - a.weight);
}
