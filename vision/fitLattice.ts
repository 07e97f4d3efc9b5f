import { clothWeight } from './lattice/clothWeight.ts';
import { demodulate } from './lattice/demodulate.ts';
import { fitPhaseField, type PhaseField } from './lattice/fitPhaseField.ts';
import { meanSpectrum, powerAt, strongestWaves, type Spectrum, type Wave } from './lattice/meanSpectrum.ts';
import { cutTile } from './lattice/resample.ts';
import { READABLE_PITCH_PX, readTexture } from './lattice/readTexture.ts';
import { weightedMedian } from './lattice/robust.ts';
import type { Fabric } from './findFabric.ts';
import type { GrayImage, MaskImage, StitchKey } from './types.ts';

/** One cell of the lattice: how wide a stitch and how high a row is here, and which way they run. */
export interface LatticeCell {
  /** Along the row. */
  stitchPitchPx: number;
  /** Square to the row. */
  rowPitchPx: number;
  /** Direction of the next stitch along the row, degrees from the x axis. */
  stitchAngleDeg: number;
  /** Direction of the next row along the column of stitches, degrees from the x axis. */
  rowAngleDeg: number;
}

/** A fitted lattice. Positions are picture pixels; phases are turns: whole numbers are boundaries. */
export interface LatticeFit {
  stitchPhaseAt(x: number, y: number): number;
  rowPhaseAt(x: number, y: number): number;
  cellAt(x: number, y: number): LatticeCell;
  /** The picture pixel with these phases, looked for from `from` on. */
  locate(stitchPhase: number, rowPhase: number, from: { x: number; y: number }): { x: number; y: number };
  /** Places inside the cloth where both waves were read, with a trust of 0…1. */
  places: { x: number; y: number; trust: number }[];
  /** Where cloth is, 0…1, on a grid over the picture; for edges. */
  clothAt(x: number, y: number): number;
  /** Bounds of the part of the picture that was read, picture pixels. */
  bounds: { left: number; top: number; width: number; height: number };
  quality: {
    stitchAgreement: number;
    rowAgreement: number;
    stitchResidualTurns: number;
    rowResidualTurns: number;
    stitchAmplitude: number;
    rowAmplitude: number;
    stitchRelativeUncertainty: number;
    rowRelativeUncertainty: number;
    /** ln(fitted pitch ÷ the reader's own regression of it). */
    stitchDisagreement: number;
    rowDisagreement: number;
    repeats: { stitches: number; rows: number };
  };
  looksLike: { stitch: StitchKey; weight: number }[];
  /** Other readings, as factors on the pitches, with weights relative to 1 for the chosen one. */
  rivals: { stitchFactor: number; rowFactor: number; weight: number }[];
}

export interface FitLatticeOptions {
  allowed?: MaskImage;
  /** The stitch that the maker names. */
  stitch?: StitchKey;
  /** What the pitches should be near, from what the maker counted, picture pixels. */
  expected?: { stitchPitchPx?: number; rowPitchPx?: number };
}

/** Most pixels that one reading may have: above that the middle of the cloth stands for the whole. */
const MOST_TILE_PX = 460_000;

const degrees = (y: number, x: number) => (Math.atan2(y, x) * 180) / Math.PI;

interface WaveChoice {
  wave: Wave;
  weight: number;
  pitch: number;
}

/**
 * Which wave is the one: near the pitch that the reader expects, in about the right direction, and strong.
 * `along` is the unit vector along which the pitch is counted (square to rows; along the row for stitches).
 * The expected wave itself is a candidate too: when no peak is near it, following a far one would be worse.
 */
function chooseWave(
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

/**
 * Fits a smooth, deformed lattice of rows and stitches to the cloth.
 *
 * The cloth is cut out at the size the reader likes best and read again; in its two evidence maps the
 * rows' wave and the stitches' wave are looked for near the pitch that the reader's regression expects
 * (Welch spectrum), then followed across the cloth by demodulation (Takeda et al., 1982; in two
 * directions, as in the geometric phase analysis of crystal lattices: M. J. Hÿtch, E. Snoeck and
 * R. Kilaas, Ultramicroscopy 74, 131, 1998). So rows may bend, and edges or colours do not matter.
 *
 * @param picture rectified luma
 * @param fabric from `findFabric`
 * @returns null when no lattice holds together
 */
export async function fitLattice(
  picture: GrayImage,
  fabric: Fabric,
  options: FitLatticeOptions = {},
): Promise<LatticeFit | null> {
  const rough = Math.sqrt(fabric.stitchPitchPx * fabric.rowPitchPx);
  const margin = 1.5 * rough;
  let rect = {
    left: fabric.bounds.left - margin,
    top: fabric.bounds.top - margin,
    width: fabric.bounds.width + 2 * margin,
    height: fabric.bounds.height + 2 * margin,
  };
  rect = clipRect(rect, picture);
  let scale = Math.min(2.5, READABLE_PITCH_PX.best / rough);
  const tooBig = (rect.width * rect.height * scale * scale) / MOST_TILE_PX;
  if (tooBig > 1) scale = Math.max(Math.min(scale, 9 / rough), scale / Math.sqrt(tooBig));
  const stillTooBig = (rect.width * rect.height * scale * scale) / MOST_TILE_PX;
  if (stillTooBig > 1) {
    const keep = 1 / Math.sqrt(stillTooBig);
    rect = {
      left: rect.left + (rect.width * (1 - keep)) / 2,
      top: rect.top + (rect.height * (1 - keep)) / 2,
      width: rect.width * keep,
      height: rect.height * keep,
    };
  }
  const tile = cutTile(picture, rect, scale);
  const maps = await readTexture(tile.image, options.stitch);
  const weight = clothWeight(maps, tile, options.allowed);

  // What the reader expects, over the cloth. Map pixels from here on (two patch pixels each).
  const trusted = (sd: Float32Array) => weight.map((w, i) => (w > 0.3 ? w / (sd[i] * sd[i]) : 0));
  const stitchTrust = trusted(maps.stitchPitchSd);
  const rowTrust = trusted(maps.rowPitchSd);
  const mapPerPicture = tile.scale / 2;
  const readerStitch = weightedMedian(maps.stitchPitchPx, stitchTrust) / 2;
  const readerRow = weightedMedian(maps.rowPitchPx, rowTrust) / 2;
  if (!Number.isFinite(readerStitch) || !Number.isFinite(readerRow)) return null;
  const expectedStitch = (options.expected?.stitchPitchPx ?? 0) * mapPerPicture || readerStitch;
  const expectedRow = (options.expected?.rowPitchPx ?? 0) * mapPerPicture || readerRow;
  const stitchSd = Math.min(0.11, Math.hypot(0.05, weightedMedian(maps.stitchPitchSd, weight)));
  const rowSd = Math.min(0.11, Math.hypot(0.05, weightedMedian(maps.rowPitchSd, weight)));
  let c = 0;
  let s = 0;
  for (let i = 0; i < weight.length; i++) {
    c += weight[i] * maps.cos2[i];
    s += weight[i] * maps.sin2[i];
  }
  const direction = Math.atan2(s, c) / 2;
  const alongRow = { x: Math.cos(direction), y: Math.sin(direction) };
  // Rows are counted upward on the page, against y.
  const acrossRow = { x: alongRow.y, y: -alongRow.x };

  const { widthPx: w, heightPx: h } = maps;
  const windowFor = (pitch: number) => (6 * pitch > 64 && Math.min(w, h) > 96 ? 128 : 64);
  const size = Math.max(windowFor(expectedRow), windowFor(expectedStitch));
  const rowWaves = meanSpectrum(maps.rowCos, weight, w, h, size);
  const stitchWaves = meanSpectrum(maps.stitchCos, weight, w, h, size);
  const rowChoices = chooseWave(rowWaves, acrossRow, expectedRow, rowSd, 7);
  const stitchChoices = chooseWave(stitchWaves, alongRow, expectedStitch, stitchSd, 9);
  if (!rowChoices.length || !stitchChoices.length) return null;

  const follow = (map: Float32Array, choice: WaveChoice): PhaseField | null => {
    const sigma = 0.85 * Math.max(Math.min(expectedRow, 2 * expectedStitch), expectedStitch);
    const spacing = Math.max(2, 0.9 * Math.sqrt(expectedRow * expectedStitch));
    return fitPhaseField(demodulate(map, weight, w, h, choice.wave, sigma, spacing), choice.wave, {
      minAmplitude: 0.12,
    });
  };
  const row = follow(maps.rowCos, rowChoices[0]);
  const stitch = follow(maps.stitchCos, stitchChoices[0]);
  if (!row || !stitch) return null;

  const toMap = (x: number, y: number) => ({
    x: ((x - tile.leftPx) * tile.scale - 0.5) / 2,
    y: ((y - tile.topPx) * tile.scale - 0.5) / 2,
  });
  const toPicture = (x: number, y: number) => ({
    x: tile.leftPx + (2 * x + 0.5) / tile.scale,
    y: tile.topPx + (2 * y + 0.5) / tile.scale,
  });
  const cellAt = (x: number, y: number): LatticeCell => {
    const p = toMap(x, y);
    const gs = stitch.gradientAt(p.x, p.y);
    const gr = row.gradientAt(p.x, p.y);
    const det = gs.x * gr.y - gs.y * gr.x;
    const stitchStep = { x: gr.y / det, y: -gr.x / det };
    const rowStep = { x: -gs.y / det, y: gs.x / det };
    return {
      stitchPitchPx: Math.hypot(stitchStep.x, stitchStep.y) / mapPerPicture,
      rowPitchPx: 1 / Math.hypot(gr.x, gr.y) / mapPerPicture,
      stitchAngleDeg: degrees(stitchStep.y, stitchStep.x),
      rowAngleDeg: degrees(rowStep.y, rowStep.x),
    };
  };
  const locate = (stitchPhase: number, rowPhase: number, from: { x: number; y: number }) => {
    let p = toMap(from.x, from.y);
    for (let i = 0; i < 6; i++) {
      const gs = stitch.gradientAt(p.x, p.y);
      const gr = row.gradientAt(p.x, p.y);
      const det = gs.x * gr.y - gs.y * gr.x;
      const ds = stitchPhase - stitch.phaseAt(p.x, p.y);
      const dr = rowPhase - row.phaseAt(p.x, p.y);
      p = { x: p.x + (ds * gr.y - dr * gs.y) / det, y: p.y + (dr * gs.x - ds * gr.x) / det };
      if (Math.abs(ds) + Math.abs(dr) < 1e-3) break;
    }
    return toPicture(p.x, p.y);
  };
  const both = new Map<string, { x: number; y: number; trust: number }>();
  for (const node of row.inliers) {
    both.set(`${node.x},${node.y}`, { ...toPicture(node.x, node.y), trust: node.amplitude * node.support });
  }
  const places = stitch.inliers
    .map((node) => {
      const at = both.get(`${node.x},${node.y}`);
      return at && { ...at, trust: Math.min(1, Math.min(at.trust, node.amplitude * node.support)) };
    })
    .filter((at) => at !== undefined);
  if (places.length < 6) return null;

  const cells = places.map((p) => cellAt(p.x, p.y));
  const trust = places.map((p) => p.trust);
  const fittedStitch = weightedMedian(
    cells.map((cell) => cell.stitchPitchPx),
    trust,
  );
  const fittedRow = weightedMedian(
    cells.map((cell) => cell.rowPitchPx),
    trust,
  );
  const turns = places.map((p) => {
    const m = toMap(p.x, p.y);
    return { s: stitch.phaseAt(m.x, m.y), r: row.phaseAt(m.x, m.y) };
  });
  const range = (v: number[]) => Math.max(...v) - Math.min(...v) + 1;
  return {
    stitchPhaseAt: (x, y) => {
      const p = toMap(x, y);
      return stitch.phaseAt(p.x, p.y);
    },
    rowPhaseAt: (x, y) => {
      const p = toMap(x, y);
      return row.phaseAt(p.x, p.y);
    },
    cellAt,
    locate,
    places,
    clothAt: (x, y) => {
      const p = toMap(x, y);
      const i = Math.round(p.x);
      const j = Math.round(p.y);
      return i < 0 || j < 0 || i >= w || j >= h ? 0 : weight[j * w + i];
    },
    bounds: {
      left: tile.leftPx,
      top: tile.topPx,
      width: tile.image.widthPx / tile.scale,
      height: tile.image.heightPx / tile.scale,
    },
    quality: {
      stitchAgreement: stitch.agreement,
      rowAgreement: row.agreement,
      stitchResidualTurns: stitch.residualTurns,
      rowResidualTurns: row.residualTurns,
      stitchAmplitude: stitch.amplitude,
      rowAmplitude: row.amplitude,
      stitchRelativeUncertainty: stitch.relativeUncertainty,
      rowRelativeUncertainty: row.relativeUncertainty,
      stitchDisagreement: Math.log((fittedStitch * mapPerPicture) / readerStitch),
      rowDisagreement: Math.log((fittedRow * mapPerPicture) / readerRow),
      repeats: { stitches: range(turns.map((t) => t.s)), rows: range(turns.map((t) => t.r)) },
    },
    looksLike: maps.looksLike,
    rivals: rivalReadings(rowChoices, stitchChoices),
  };
}

function clipRect(
  rect: { left: number; top: number; width: number; height: number },
  picture: GrayImage,
): { left: number; top: number; width: number; height: number } {
  const left = Math.max(0, rect.left);
  const top = Math.max(0, rect.top);
  return {
    left,
    top,
    width: Math.min(picture.widthPx, rect.left + rect.width) - left,
    height: Math.min(picture.heightPx, rect.top + rect.height) - top,
  };
}

/** Second-best waves that are clearly another reading (more than 12 % away), as factors on the pitch. */
function rivalReadings(rows: WaveChoice[], stitches: WaveChoice[]) {
  const others = (choices: WaveChoice[]) =>
    choices
      .slice(1)
      .map((choice) => ({
        factor: choice.pitch / choices[0].pitch,
        weight: choice.weight / choices[0].weight,
      }))
      .filter(({ factor, weight }) => Math.abs(Math.log(factor)) > 0.12 && weight > 0.01)
      .slice(0, 2);
  return [
    ...others(stitches).map(({ factor, weight }) => ({ stitchFactor: factor, rowFactor: 1, weight })),
    ...others(rows).map(({ factor, weight }) => ({ stitchFactor: 1, rowFactor: factor, weight })),
  ].sort((a, b) => b.weight - a.weight);
}

/**
 * The same lattice counted differently: every phase times a factor (2 rows where one was read: `row` = 2).
 *
 * @example
 * withFactors(lattice, { stitch: 1, row: 2 }).cellAt(x, y).rowPitchPx; // half of what it was
 */
export function withFactors(lattice: LatticeFit, factor: { stitch: number; row: number }): LatticeFit {
  if (factor.stitch === 1 && factor.row === 1) return lattice;
  const { quality } = lattice;
  return {
    ...lattice,
    stitchPhaseAt: (x, y) => lattice.stitchPhaseAt(x, y) * factor.stitch,
    rowPhaseAt: (x, y) => lattice.rowPhaseAt(x, y) * factor.row,
    cellAt: (x, y) => {
      const cell = lattice.cellAt(x, y);
      return {
        ...cell,
        stitchPitchPx: cell.stitchPitchPx / factor.stitch,
        rowPitchPx: cell.rowPitchPx / factor.row,
      };
    },
    locate: (stitchPhase, rowPhase, from) =>
      lattice.locate(stitchPhase / factor.stitch, rowPhase / factor.row, from),
    quality: {
      ...quality,
      stitchResidualTurns: quality.stitchResidualTurns * factor.stitch,
      rowResidualTurns: quality.rowResidualTurns * factor.row,
      stitchDisagreement: quality.stitchDisagreement - Math.log(factor.stitch),
      rowDisagreement: quality.rowDisagreement - Math.log(factor.row),
      repeats: {
        stitches: quality.repeats.stitches * factor.stitch,
        rows: quality.repeats.rows * factor.row,
      },
    },
    rivals: [
      ...lattice.rivals.map((rival) => ({
        ...rival,
        stitchFactor: rival.stitchFactor * factor.stitch,
        rowFactor: rival.rowFactor * factor.row,
      })),
      { stitchFactor: factor.stitch, rowFactor: factor.row, weight: 0.3 },
    ],
  };
}
