import type { Point } from '../../types.ts';
import type { BaseSighting, TickSighting } from './fitRulerPlane.ts';
import { toDecodedPx } from './halve.ts';
import type { HiddenTicks } from './hiddenTicks.ts';
import { pitchMmOf, type Reading } from './readGraduations.ts';
import { linePosition, medianOf, rowMean } from './readTicks.ts';

export interface Sightings {
  ticks: TickSighting[];
  bases: BaseSighting[];
  /** Place and mm of the run's first and last tick where the ticks begin, decoded px. */
  first: { point: Point; alongMm: number };
  last: { point: Point; alongMm: number };
  /** Across coordinate (level px) where ticks begin and where the longest end. */
  baseAcross: number;
  topAcross: number;
}

/**
 * Turns a named reading into places on ticks, each at two or more depths, so that the ticks' own
 * direction is seen as well as their spacing. `reverse` counts from the other end.
 */
export function sightTicks(reading: Reading, run: number, reverse: boolean): Sightings {
  if (reading.hidden) return sightHidden(reading, reading.hidden, run, reverse);
  const { band, level, side } = reading;
  const pitchMm = pitchMmOf(reading) * (reverse ? -1 : 1);
  const ticks = reading.run.ticks;
  const reaches = reading.named?.reachesPx ??
    reading.unclear?.reachesPx ?? [medianOf(ticks.map((t) => (side > 0 ? t.reachDown : t.reachUp)))];
  const shortest = reaches[reaches.length - 1]!;
  const baseAcross = -side * reading.basePx;
  const middleIndex = Math.round((ticks[0]!.index + ticks[ticks.length - 1]!.index) / 2);
  const toDecoded = (p: Point): Point => ({ x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) });

  // zones of depth: two halves of the shortest ticks, then what each longer level adds
  const zones: { from: number; to: number; least: number }[] = [];
  const inset = Math.min(1.5, 0.15 * (shortest + reading.basePx));
  const low = -reading.basePx + inset;
  const high = shortest - inset;
  const middle = (low + high) / 2;
  if (reading.alongNumbers) zones.push({ from: low, to: high, least: -Infinity });
  else zones.push({ from: low, to: middle, least: -Infinity }, { from: middle, to: high, least: -Infinity });
  for (let l = reaches.length - 2; l >= 0; l--) {
    const from = reaches[l + 1]! + inset;
    const to = reaches[l]! - inset;
    if (to - from >= 1.5) zones.push({ from, to, least: (reaches[l]! + reaches[l + 1]!) / 2 });
  }

  const sigma0 = Math.max(0.03, reading.run.jitter * reading.run.pitchPx) * level.factor;
  const depth0 = 0.6 * reading.followed.depthPx;
  const out: TickSighting[] = [];
  for (const zone of zones) {
    const a = side > 0 ? zone.from : -zone.to;
    const b = side > 0 ? zone.to : -zone.from;
    const signal = rowMean(band, a, b);
    const rows = Math.max(1, Math.abs(b - a));
    for (const t of ticks) {
      const reach = side > 0 ? t.reachDown : t.reachUp;
      if (reach < zone.least) continue;
      const pitch = band.pitchAt(t.along) * band.columnsPerPx;
      const hit = linePosition(
        signal,
        (t.along - band.alongStart) * band.columnsPerPx,
        pitch,
        reading.run.polarity,
      );
      if (!hit) continue;
      const along = band.alongStart + hit.at / band.columnsPerPx;
      if (Math.abs(along - t.along) > 0.2 * reading.run.pitchPx) continue;
      out.push({
        run,
        alongMm: (t.index - middleIndex) * pitchMm,
        point: toDecoded(band.toPoint(along, (a + b) / 2)),
        sigmaPx: sigma0 * Math.sqrt(Math.max(1, depth0 / rows)),
      });
    }
  }

  const bases: BaseSighting[] = [];
  const block = Math.max(4, Math.ceil(ticks.length / 16));
  for (let i = 0; i < ticks.length; i += block) {
    const part = ticks.slice(i, i + block);
    if (part.length < 3) continue;
    const start = medianOf(part.map((t) => (side > 0 ? t.reachUp : t.reachDown)));
    const mid = part[part.length >> 1]!;
    bases.push({
      run,
      alongMm: (mid.index - middleIndex) * pitchMm,
      point: toDecoded(band.toPoint(mid.along, -side * start)),
      sigmaPx: 0.5 * level.factor,
    });
  }
  const end = (t: (typeof ticks)[number]): { point: Point; alongMm: number } => ({
    point: toDecoded(band.toPoint(t.along, baseAcross)),
    alongMm: (t.index - middleIndex) * pitchMm,
  });
  return {
    ticks: out,
    bases,
    first: end(ticks[0]!),
    last: end(ticks[ticks.length - 1]!),
    baseAcross,
    topAcross: side * reaches[0]!,
  };
}

/** Fine ticks that only their sum shows: where they lie in every window, instead of single ones. */
function sightHidden(reading: Reading, hidden: HiddenTicks, run: number, reverse: boolean): Sightings {
  const { band, level, side } = reading;
  const pitchMm = pitchMmOf(reading) * (reverse ? -1 : 1);
  const middle = hidden.ticks[hidden.ticks.length >> 1]?.index ?? 0;
  const toDecoded = (p: Point): Point => ({ x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) });
  const begin = side > 0 ? hidden.fromAcross : hidden.toAcross;
  const mm = (index: number): number => (index - middle) * pitchMm;
  const ticks = hidden.ticks.map((t) => ({
    run,
    alongMm: mm(t.index),
    point: toDecoded(band.toPoint(t.along, t.across)),
    // windows overlap, and the coarse ticks lead them all
    sigmaPx: Math.max(LEAST_HIDDEN_PX, HIDDEN_OVERLAP * t.sigmaPx) * level.factor,
  }));
  const ordered = [...hidden.ticks].sort((p, q) => p.along - q.along);
  const bases = ordered
    .filter((t, i) => i === 0 || t.along > ordered[i - 1]!.along + 1)
    .map((t) => ({
      run,
      alongMm: mm(t.index),
      point: toDecoded(band.toPoint(t.along, begin)),
      sigmaPx: HIDDEN_BASE_PX * level.factor,
    }));
  const end = (t: (typeof ordered)[number] | undefined): { point: Point; alongMm: number } => ({
    point: toDecoded(band.toPoint(t?.along ?? 0, begin)),
    alongMm: mm(t?.index ?? 0),
  });
  return {
    ticks,
    bases,
    first: end(ordered[0]),
    last: end(ordered[ordered.length - 1]),
    baseAcross: begin,
    topAcross: side > 0 ? hidden.toAcross : hidden.fromAcross,
  };
}

/** Least uncertainty of a place that many ticks share, px of the level, and what overlapping windows multiply it by. */
const LEAST_HIDDEN_PX = 0.05;
const HIDDEN_OVERLAP = 2;
/** How well the line is known along which they begin, px of the level. */
const HIDDEN_BASE_PX = 1;
