import type { EdgePickUp } from './borderRounds.ts';
import { formatLength } from './formatLength.ts';
import { formatHook } from './hookSizes.ts';
import { bandOfRow, blocksOfRow } from './layout.ts';
import type { Plan, PlannedRound } from './planPiece.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import type { Stitch } from './stitches.ts';
import { edgeStitchesOf } from './yarnPerStitch.ts';

/**
 * The plan in plain sentences, in US or UK terms, in the order in which it is worked.
 *
 * @example writePlan(plan, readySpec)[0]; // 'Chain 122.'
 */
export function writePlan(plan: Plan, spec: ReadyPlanSpec): string[] {
  return [
    ...startLines(plan, spec),
    ...colourLines(plan, spec),
    rowsLine(plan, spec),
    ...(plan.border ? borderLines(plan, spec) : []),
    `Finished size: about ${formatLength(plan.finished.widthMm.value, plan.units)} wide and ${formatLength(plan.finished.heightMm.value, plan.units)} high` +
      ` (95 %: ${interval(plan, 'widthMm')} by ${interval(plan, 'heightMm')}).`,
  ];
}

function startLines(plan: Plan, spec: ReadyPlanSpec): string[] {
  const { stitch, hookMm } = spec;
  const { terms, multiple, repeats } = plan;
  const counted = multiple.m > 1 ? ` (${repeats} repeats of ${multiple.m}, plus ${multiple.plus})` : '';
  if (stitch.craft === 'knit') {
    return [`Cast on ${plan.chain} stitches${counted} and work in ${stitch.names[terms]}.`];
  }
  const withHook = hookMm === null ? '' : ` with a ${formatHook(hookMm)} hook`;
  const skip = terms === 'us' ? 'skipped' : 'missed';
  const chains = (n: number): string => `${n === 1 ? 'chain' : `${n} chains`}`;
  const rowOne =
    stitch.rowOne?.[terms] ??
    `${stitch.names[terms]} into the ${ordinal(stitch.chainsSkipped + 1)} chain from the hook` +
      (stitch.chainsSkipped === 0
        ? ''
        : stitch.skippedChainsCount
          ? ` (the ${chains(stitch.chainsSkipped)} ${skip} ${stitch.chainsSkipped === 1 ? 'stands' : 'stand'} for the first stitch)`
          : ` (the ${chains(stitch.chainsSkipped)} ${skip} ${stitch.chainsSkipped === 1 ? 'does' : 'do'} not count as a stitch)`) +
      ' and into each chain to the end';
  const turn =
    stitch.turningChain === 0
      ? 'Turn at the end of each row.'
      : `Turn with chain ${stitch.turningChain} at the end of each row; ` +
        (stitch.turningChainCounts
          ? stitch.rowOne
            ? 'it stands for the first place of the next row.'
            : 'it stands for the first stitch of the next row, so the last stitch of every row goes into it.'
          : 'it does not count as a stitch.');
  return [`Chain ${plan.chain}${counted}${withHook}.`, `Row 1: ${rowOne}: ${plan.stitches} stitches.`, turn];
}

function rowsLine(plan: Plan, spec: ReadyPlanSpec): string {
  const { rowRepeat } = spec;
  const repeat =
    rowRepeat.m > 1
      ? `, ${plan.rowRepeats} repeats of ${rowRepeat.m}${rowRepeat.plus ? ` plus ${rowRepeat.plus}` : ''}`
      : '';
  const side = plan.rows % 2 === 1 ? 'right-side' : 'wrong-side';
  const end =
    spec.stitch.craft === 'knit' ? (plan.terms === 'us' ? ', then bind off' : ', then cast off') : '';
  return (
    `Work ${plan.rows} rows in all${repeat}, so that the last is a ${side} row${end}. ` +
    `${plan.border ? 'Without its border that' : 'That'} is about ${formatLength(plan.body.widthMm.value, plan.units)} wide and ${formatLength(plan.body.heightMm.value, plan.units)} high.`
  );
}

function colourLines(plan: Plan, spec: ReadyPlanSpec): string[] {
  const { layout } = spec;
  const name = (id: string): string => spec.colours.find((colour) => colour.id === id)!.name;
  if (layout.kind === 'solid' || layout.kind === 'shares') {
    return layout.kind === 'solid' && spec.colours.length > 1
      ? [`Work the body in ${name(layout.bands[0]!.across[0]!)}.`]
      : [];
  }
  const period = layout.bands.reduce((sum, band) => sum + band.rows, 0);
  const last = bandOfRow(layout, plan.rows);
  const lastBand = layout.bands[last.index]!;
  const ending =
    last.rowInBand === lastBand.rows
      ? ''
      : ` The last one stops after ${last.rowInBand} of its ${lastBand.rows} rows.`;
  if (layout.kind === 'stripes') {
    const stripes = layout.bands.map((band) => `${rows(band.rows)} in ${name(band.across[0]!)}`).join(', ');
    return [
      `Colours: ${stripes}; repeat these ${period} rows, and end with ${name(lastBand.across[0]!)} in row ${plan.rows}.${ending}`,
      `Carry a resting colour up the side while it rests for ${spec.practice.carryUpRows} rows or fewer; cut it when it rests longer.`,
    ];
  }
  const edge = edgeStitchesOf(spec);
  const lines = layout.bands.map((band, index) => {
    const blocks = blocksOfRow(band, plan.stitches, edge);
    const first = 1 + layout.bands.slice(0, index).reduce((sum, each) => sum + each.rows, 0);
    const range = band.rows === 1 ? `Row ${first}` : `Rows ${first}–${first + band.rows - 1}`;
    const spelled =
      blocks.length <= 6
        ? blocks.map((block) => `${block.stitches} ${name(block.colour)}`).join(', ')
        : `${blocks
            .slice(0, band.across.length)
            .map((block) => `${block.stitches} ${name(block.colour)}`)
            .join(
              ', ',
            )}, and so on to the other edge, ending with ${blocks[blocks.length - 1]!.stitches} ${name(blocks[blocks.length - 1]!.colour)}`;
    return `${range}, from the edge where row 1 starts: ${spelled}.`;
  });
  lines.push(`Repeat these ${period} rows.${ending}`);
  lines.push(
    layout.carried
      ? 'Lay the resting colours along the row below and work over them, so that they run unseen inside the stitches.'
      : 'Use a separate strand for each block and cross the strands where colours meet.',
  );
  return lines;
}

function borderLines(plan: Plan, spec: ReadyPlanSpec): string[] {
  const border = plan.border!;
  const { cornerStitches } = spec.border!;
  const lines = border.rounds.map((round) => {
    const colour =
      spec.colours.length > 1 ? ` in ${spec.colours.find((each) => each.id === round.colour)!.name}` : '';
    const start = `Border round ${round.round}${colour}: ${nameOf(round, spec, plan.terms)}`;
    const first =
      `${start}; along the bottom and top ${edgePhrase(border.widthEdge, 'stitch', 'stitches')}, ` +
      `up and down the sides ${edgePhrase(border.heightEdge, 'row end', 'row ends')}, and ${cornerStitches} into each corner`;
    const later = `${start}; ${cornerStitches} into the middle stitch of each corner`;
    const adjusted = round.adjust === 0 ? '' : `; ${adjustPhrase(round)}`;
    return `${round.round === 1 ? first : later}${adjusted}: ${round.stitches} stitches. Join.`;
  });
  return lines;
}

function nameOf(round: PlannedRound, spec: ReadyPlanSpec, terms: 'us' | 'uk'): string {
  const border = spec.border!;
  const listed: Stitch =
    border.firstRoundStitch.key === round.stitchKey ? border.firstRoundStitch : border.stitch;
  return listed.names[terms];
}

function edgePhrase(edge: EdgePickUp, one: string, many: string): string {
  const ratio =
    edge.per === 1 ? `${edge.take} into each ${one}` : `${edge.take} into every ${edge.per} ${many}`;
  const extra = Math.abs(edge.extra);
  const places = edge.extraAt.join(', ');
  const spread =
    extra === 0
      ? ''
      : edge.extra > 0
        ? `, with one more at ${one} ${places}`
        : `, leaving one out at ${one} ${places}`;
  return `${ratio}${spread} (${edge.stitches} between corners)`;
}

function adjustPhrase(round: PlannedRound): string {
  const what = round.adjust > 0 ? 'work 2 into' : 'pass over';
  const where = round.adjustAt
    .map(({ edge, stitches }) => `stitch ${stitches.join(', ')} of the ${edge} edge`)
    .join(' and ');
  return `so that the pattern comes out, ${what} ${where}`;
}

function interval(plan: Plan, side: 'widthMm' | 'heightMm'): string {
  const { low95, high95 } = plan.finished[side];
  const unit = plan.units;
  return `${formatLength(low95, unit).replace(/ (cm|in)$/, '')} to ${formatLength(high95, unit)}`;
}

const rows = (count: number): string => `${count} ${count === 1 ? 'row' : 'rows'}`;

function ordinal(n: number): string {
  const tail = n % 100 >= 11 && n % 100 <= 13 ? 'th' : (['th', 'st', 'nd', 'rd'][n % 10] ?? 'th');
  return `${n}${tail}`;
}
