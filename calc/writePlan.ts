import { formatLength } from './formatLength.ts';
import type { Plan } from './planPiece.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import type { Stitch } from './stitches.ts';

/**
 * The plan in sentences, in US or UK terms.
 *
 * @example writePlan(plan, spec)[0]; // 'Chain 122.'
 */
export function writePlan(plan: Plan, spec: ReadyPlanSpec): string[] {
  const { terms, units } = plan;
  const { stitch } = spec;
  const lines: string[] = [];
  const { m, plus } = plan.multiple;
  const counted = m > 1 ? ` (${plan.repeats} repeats of ${m}, plus ${plus})` : '';
  if (stitch.craft === 'crochet') {
    lines.push(`Chain ${plan.chain}${counted}.`);
    lines.push(
      `Row 1: ${stitch.names[terms]} into the ${ordinal(stitch.chainsSkipped + 1)} chain from the hook` +
        (stitch.skippedChainsCount
          ? ` (the ${stitch.chainsSkipped} skipped chains stand for the first stitch)`
          : ` (the skipped ${stitch.chainsSkipped === 1 ? 'chain does' : 'chains do'} not count as a stitch)`) +
        ` and into each chain to the end: ${plan.stitches} stitches.`,
    );
    lines.push(
      `At the end of each row chain ${stitch.turningChain} and turn` +
        (stitch.turningChainCounts
          ? '; this chain stands for the first stitch of the next row.'
          : '; it does not count as a stitch.'),
    );
  } else {
    lines.push(`Cast on ${plan.stitches} stitches${counted}.`);
  }
  lines.push(
    `Work ${plan.rows} rows in all: about ${formatLength(plan.body.widthMm.value, units)} wide and ${formatLength(plan.body.heightMm.value, units)} high before any border.`,
  );
  if (plan.border) lines.push(...borderLines(plan, spec));
  lines.push(
    `Finished size: ${formatLength(plan.finished.widthMm.value, units)} × ${formatLength(plan.finished.heightMm.value, units)}.`,
  );
  return lines;
}

function borderLines(plan: Plan, spec: ReadyPlanSpec): string[] {
  const border = plan.border!;
  const spell = (key: string): string => {
    const listed: Stitch =
      spec.border!.firstRoundStitch.key === key ? spec.border!.firstRoundStitch : spec.border!.stitch;
    return listed.names[plan.terms];
  };
  const first = border.rounds[0]!;
  const name = spell(first.stitchKey);
  const { widthEdge, heightEdge } = border;
  const lines = [
    `Border round 1, in ${name}: along the bottom and top edges ${perPhrase(widthEdge.take, widthEdge.per, 'stitch', 'stitches')} ` +
      `(${widthEdge.stitches} between the corners), along the sides ${perPhrase(heightEdge.take, heightEdge.per, 'row', 'rows')} ` +
      `(${heightEdge.stitches} between the corners), and ${spec.border!.cornerStitches} into each corner: ${first.stitches} stitches.`,
  ];
  for (const round of border.rounds.slice(1)) {
    lines.push(
      `Border round ${round.round}, in ${spell(round.stitchKey)}: ${spec.border!.cornerStitches} into the middle stitch of each corner, ${round.stitches} stitches.`,
    );
  }
  return lines;
}

function perPhrase(take: number, per: number, one: string, many: string): string {
  return per === 1 ? `${take} into each ${one}` : `${take} into every ${per} ${many}`;
}

function ordinal(n: number): string {
  const tail = n % 100 >= 11 && n % 100 <= 13 ? 'th' : (['th', 'st', 'nd', 'rd'][n % 10] ?? 'th');
  return `${n}${tail}`;
}
