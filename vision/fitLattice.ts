import type { WaveChoice } from './lattice/chooseWave.ts';
import { demodulate } from './lattice/demodulate.ts';
import { fitPhaseField, type PhaseField } from './lattice/fitPhaseField.ts';
import { largestPiece } from './lattice/largestPiece.ts';
import { readCloth, type ReadClothOptions } from './lattice/readCloth.ts';
import type { Tile } from './lattice/resample.ts';
import { weightedMedian } from './lattice/robust.ts';
import type { Fabric } from './findFabric.ts';
import type { GrayImage, Point, StitchKey } from './types.ts';

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
  /** Outline of the cloth that was read, picture pixels; null where only its middle was. */
  outlinePx: Point[] | null;
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

const degrees = (y: number, x: number) => (Math.atan2(y, x) * 180) / Math.PI;

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
  options: ReadClothOptions = {},
): Promise<LatticeFit | null> {
  const cloth = await readCloth(picture, fabric, options);
  if (!cloth) return null;
  const { tile, maps, weight, reader, expected, choices } = cloth;
  const { widthPx: w, heightPx: h } = maps;
  const mapPerPicture = tile.scale / 2;

  const follow = (map: Float32Array, choice: WaveChoice): PhaseField | null => {
    const sigma = 0.85 * Math.max(Math.min(expected.row, 2 * expected.stitch), expected.stitch);
    const spacing = Math.max(2, 0.9 * Math.sqrt(expected.row * expected.stitch));
    return fitPhaseField(demodulate(map, weight, w, h, choice.wave, sigma, spacing), choice.wave, {
      minAmplitude: 0.12,
    });
  };
  const row = follow(maps.rowCos, choices.row[0]);
  const stitch = follow(maps.stitchCos, choices.stitch[0]);
  if (!row || !stitch) return null;

  const waves: Waves = { stitch, row, tile };
  const toPicture = (x: number, y: number) => pictureOf(tile, x, y);
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

  const cells = places.map((p) => cellOf(waves, p.x, p.y));
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
    const m = mapOf(tile, p.x, p.y);
    return { s: stitch.phaseAt(m.x, m.y), r: row.phaseAt(m.x, m.y) };
  });
  const range = (v: number[]) => Math.max(...v) - Math.min(...v) + 1;
  return {
    stitchPhaseAt: (x, y) => {
      const p = mapOf(tile, x, y);
      return stitch.phaseAt(p.x, p.y);
    },
    rowPhaseAt: (x, y) => {
      const p = mapOf(tile, x, y);
      return row.phaseAt(p.x, p.y);
    },
    cellAt: (x, y) => cellOf(waves, x, y),
    locate: (stitchPhase, rowPhase, from) => placeOf(waves, stitchPhase, rowPhase, from),
    places,
    clothAt: (x, y) => {
      const p = mapOf(tile, x, y);
      const i = Math.round(p.x);
      const j = Math.round(p.y);
      return i < 0 || j < 0 || i >= w || j >= h ? 0 : weight[j * w + i];
    },
    outlinePx: cloth.whole
      ? (largestPiece(weight, w, h)?.outline.map((p) => toPicture(p.x, p.y)) ?? null)
      : null,
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
      stitchDisagreement: Math.log((fittedStitch * mapPerPicture) / reader.stitch),
      rowDisagreement: Math.log((fittedRow * mapPerPicture) / reader.row),
      repeats: { stitches: range(turns.map((t) => t.s)), rows: range(turns.map((t) => t.r)) },
    },
    looksLike: maps.looksLike,
    rivals: rivalReadings(choices.row, choices.stitch),
  };
}

/** Both waves over the maps of a tile. */
interface Waves {
  stitch: PhaseField;
  row: PhaseField;
  tile: Tile;
}

function mapOf(tile: Tile, x: number, y: number): Point {
  return { x: ((x - tile.leftPx) * tile.scale - 0.5) / 2, y: ((y - tile.topPx) * tile.scale - 0.5) / 2 };
}

function pictureOf(tile: Tile, x: number, y: number): Point {
  return { x: tile.leftPx + (2 * x + 0.5) / tile.scale, y: tile.topPx + (2 * y + 0.5) / tile.scale };
}

function cellOf({ stitch, row, tile }: Waves, x: number, y: number): LatticeCell {
  const mapPerPicture = tile.scale / 2;
  const p = mapOf(tile, x, y);
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
}

function placeOf({ stitch, row, tile }: Waves, stitchPhase: number, rowPhase: number, from: Point): Point {
  let p = mapOf(tile, from.x, from.y);
  for (let i = 0; i < 6; i++) {
    const gs = stitch.gradientAt(p.x, p.y);
    const gr = row.gradientAt(p.x, p.y);
    const det = gs.x * gr.y - gs.y * gr.x;
    const ds = stitchPhase - stitch.phaseAt(p.x, p.y);
    const dr = rowPhase - row.phaseAt(p.x, p.y);
    p = { x: p.x + (ds * gr.y - dr * gs.y) / det, y: p.y + (dr * gs.x - ds * gr.x) / det };
    if (Math.abs(ds) + Math.abs(dr) < 1e-3) break;
  }
  return pictureOf(tile, p.x, p.y);
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
