import { nameGraduation, type NamedGraduation } from './nameGraduation.ts';
import { medianOf, reachOf, type Tick, type TickRun } from './readTicks.ts';

/**
 * Ticks after which all graduations of a family, and finer ones that are told from them, begin anew: a millimetre
 * scale and one of half millimetres; sixteenths of an inch, eighths, quarters and thirty-seconds.
 */
const FAMILIES = [
  { cycle: 20, keys: ['metric'] },
  { cycle: 32, keys: ['inch-16', 'inch-8', 'inch-4'] },
] as const;
/** Fewest cycles that are laid on one another, better ones, and how many such stacks must agree. */
const LEAST_CYCLES = 2;
const GOOD_CYCLES = 3;
const LEAST_STACKS = 2;
const MOST_STACKS = 4;
/** Deeper ticks fade (worn ink, glare) down to this share of the contrast at the shortest ticks, and no further. */
const FAINTEST = 0.3;

/**
 * Says which graduation a long run has whose single ticks are too faint for `nameGraduation`: ticks that lie whole
 * cycles apart are of one length in any graduation of the family, so that the median of several is read instead of
 * each. Several independent stacks must agree; where both families seem to fit, neither is named.
 *
 * @param side on which long ticks reach further
 * @param zeroRow row of the middle of the short ticks in `run.response`
 */
export function nameStacked(
  run: TickRun,
  usable: readonly boolean[],
  side: 1 | -1,
  zeroRow: number,
): NamedGraduation | null {
  const names = FAMILIES.map(({ cycle, keys }) => {
    const ticks = stacked(run, usable, side, zeroRow, cycle);
    if (!ticks) return null;
    const named = nameGraduation(
      ticks.map((t) => t.index),
      ticks.map((t) => t.reach),
    );
    return named && (keys as readonly string[]).includes(named.key) ? named : null;
  }).filter((named) => named !== null);
  return names.length === 1 ? names[0]! : null;
}

interface StackedTick {
  index: number;
  reach: number;
}

function stacked(
  run: TickRun,
  usable: readonly boolean[],
  side: 1 | -1,
  zeroRow: number,
  cycle: number,
): StackedTick[] | null {
  const { ticks, response, rows } = run;
  const first = ticks[0]!.index;
  const cycles = (ticks[ticks.length - 1]!.index - first + 1) / cycle;
  if (cycles < LEAST_STACKS * LEAST_CYCLES) return null;
  const stacks = Math.max(LEAST_STACKS, Math.min(MOST_STACKS, Math.floor(cycles / GOOD_CYCLES)));
  const perStack = Math.ceil(cycles / stacks) * cycle;
  const members: number[][] = Array.from({ length: stacks * cycle }, () => []);
  ticks.forEach((t: Tick, i) => {
    const k = t.index - first;
    const stack = Math.floor(k / perStack);
    if (usable[i] && stack < stacks) members[stack * cycle + (k % cycle)]!.push(i);
  });
  const profiles = members.map((own) => {
    const profile = new Float32Array(rows).fill(NaN);
    if (own.length < LEAST_CYCLES) return null;
    for (let r = 0; r < rows; r++) {
      const values = own.map((i) => response[i * rows + r]!).filter((v) => !Number.isNaN(v));
      if (values.length >= LEAST_CYCLES) profile[r] = medianOf(values);
    }
    return profile;
  });
  // How strong a tick is at each depth where it is there at all: as in the strongest sixteenth of the stacks.
  const full = new Float32Array(rows).fill(1);
  let before = 1;
  for (let r = zeroRow; r >= 0 && r < rows; r += side) {
    const values = profiles.map((p) => (p ? p[r]! : NaN)).filter((v) => !Number.isNaN(v));
    if (values.length === 0) break;
    values.sort((p, q) => q - p);
    const strong = values[values.length >> 4]!;
    // It fades with depth but does not come back: what is stronger further in are numerals.
    before = Math.max(FAINTEST, Math.min(before, strong));
    full[r] = before;
  }
  const out: StackedTick[] = [];
  profiles.forEach((profile, i) => {
    if (!profile) return;
    const share = profile.map((v, r) => v / full[r]!);
    out.push({ index: first + i, reach: reachOf(share, zeroRow, side, run.pitchPx) });
  });
  return out.length >= 0.8 * profiles.length ? out : null;
}
