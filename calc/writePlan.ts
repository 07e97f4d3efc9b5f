import type { EdgePickUp } from './borderRounds.ts';
import { formatHook } from './hookSizes.ts';
import { bandOfRow, blocksOfRow } from './layout.ts';
import type { Plan, PlannedRound } from './planPiece.ts';
import type { ReadyPlanSpec } from './readPlanSpec.ts';
import { englishSayer, say, type Said, type SaidValue } from './said.ts';
import type { SentenceCode } from './sentences.ts';
import type { Stitch } from './stitches.ts';
import { edgeStitchesOf } from './yarnPerStitch.ts';

type Steps = Omit<Plan, 'steps' | 'instructions'>;

const said = (code: SentenceCode, values: Record<string, SaidValue> = {}): Said => ({ code, values });
const inARow = (list: SaidValue[]): SaidValue => ({ list, joined: 'comma' });

/**
 * The plan in plain sentences, in US or UK terms, in the order in which it is worked.
 *
 * @example writePlan(plan)[0]; // 'Chain 122.'
 */
export function writePlan(plan: Pick<Plan, 'steps' | 'units'>): string[] {
  const sayer = englishSayer(plan.units);
  return plan.steps.map((step) => say(step, sayer));
}

/**
 * What to do, a sentence or two a step, as codes and values: `writePlan` says them in English, the page in its words.
 *
 * @example stepsOf(plan, readySpec)[0]; // { code: 'make.chain', values: { chain: 122, repeats: '', hook: '' } }
 */
export function stepsOf(plan: Steps, spec: ReadyPlanSpec): Said[] {
  const side = (axis: 'widthMm' | 'heightMm') => plan.finished[axis];
  return [
    ...startSteps(plan, spec),
    ...colourSteps(plan, spec),
    rowsStep(plan, spec),
    ...(plan.border ? borderSteps(plan, spec) : []),
    said('make.finished', {
      width: { lengthMm: side('widthMm').value },
      height: { lengthMm: side('heightMm').value },
      widthFrom: { lengthMm: side('widthMm').low95, bare: true },
      widthTo: { lengthMm: side('widthMm').high95 },
      heightFrom: { lengthMm: side('heightMm').low95, bare: true },
      heightTo: { lengthMm: side('heightMm').high95 },
    }),
  ];
}

function startSteps(plan: Steps, spec: ReadyPlanSpec): Said[] {
  const { stitch, hookMm } = spec;
  const { terms, multiple } = plan;
  const repeats =
    multiple.m > 1 ? said('make.repeats', { n: plan.repeats, m: multiple.m, plus: multiple.plus }) : '';
  if (stitch.craft === 'knit')
    return [said('make.castOn', { n: plan.chain, repeats, stitch: stitch.names[terms] })];

  const skipped =
    stitch.chainsSkipped === 0
      ? ''
      : said(stitch.skippedChainsCount ? 'make.skippedStand' : 'make.skippedNotCounted', {
          n: stitch.chainsSkipped,
          skipped: said(terms === 'us' ? 'make.skippedUs' : 'make.skippedUk'),
        });
  const how =
    stitch.rowOne?.[terms] ??
    said('make.rowOneInto', {
      stitch: stitch.names[terms],
      place: { ordinal: stitch.chainsSkipped + 1 },
      skipped,
    });
  const turn: SentenceCode =
    stitch.turningChain === 0
      ? 'make.turn'
      : !stitch.turningChainCounts
        ? 'make.turnNotCounted'
        : stitch.rowOne
          ? 'make.turnForPlace'
          : 'make.turnForStitch';
  return [
    said('make.chain', {
      chain: plan.chain,
      repeats,
      hook: hookMm === null ? '' : said('make.hook', { hook: formatHook(hookMm) }),
    }),
    said('make.rowOne', { how, n: plan.stitches }),
    said(turn, { n: stitch.turningChain }),
  ];
}

function rowsStep(plan: Steps, spec: ReadyPlanSpec): Said {
  const { m, plus } = spec.rowRepeat;
  return said('make.rows', {
    n: plan.rows,
    repeats:
      m > 1 ? said(plus ? 'make.rowRepeatsPlus' : 'make.rowRepeats', { n: plan.rowRepeats, m, plus }) : '',
    side: said(plan.rows % 2 === 1 ? 'make.rightSide' : 'make.wrongSide'),
    end: spec.stitch.craft === 'knit' ? said(plan.terms === 'us' ? 'make.bindOffUs' : 'make.bindOffUk') : '',
    size: said(plan.border ? 'make.bodyWithoutBorder' : 'make.body', {
      width: { lengthMm: plan.body.widthMm.value },
      height: { lengthMm: plan.body.heightMm.value },
    }),
  });
}

function colourSteps(plan: Steps, spec: ReadyPlanSpec): Said[] {
  const { layout } = spec;
  const name = (id: string): string => spec.colours.find((colour) => colour.id === id)!.name;
  if (layout.kind === 'solid' || layout.kind === 'shares') {
    return layout.kind === 'solid' && spec.colours.length > 1
      ? [said('make.bodyIn', { colour: name(layout.bands[0]!.across[0]!) })]
      : [];
  }
  const period = layout.bands.reduce((sum, band) => sum + band.rows, 0);
  const last = bandOfRow(layout, plan.rows);
  const lastBand = layout.bands[last.index]!;
  const ending =
    last.rowInBand === lastBand.rows ? '' : said('make.stopsAfter', { n: last.rowInBand, of: lastBand.rows });
  if (layout.kind === 'stripes') {
    const stripes = layout.bands.map((band) =>
      said('make.rowsIn', { n: band.rows, colour: name(band.across[0]!) }),
    );
    return [
      said('make.stripes', {
        stripes: inARow(stripes),
        n: period,
        last: name(lastBand.across[0]!),
        row: plan.rows,
        ending,
      }),
      said('make.carryUp', { n: spec.practice.carryUpRows }),
    ];
  }
  const edge = edgeStitchesOf(spec);
  const steps = layout.bands.map((band, index) => {
    const blocks = blocksOfRow(band, plan.stitches, edge).map((block) =>
      said('make.block', { n: block.stitches, colour: name(block.colour) }),
    );
    const from = 1 + layout.bands.slice(0, index).reduce((sum, each) => sum + each.rows, 0);
    const spelled =
      blocks.length <= 6
        ? inARow(blocks)
        : said('make.blocksOn', {
            blocks: inARow(blocks.slice(0, band.across.length)),
            last: blocks[blocks.length - 1]!,
          });
    return said(band.rows === 1 ? 'make.bandRow' : 'make.bandRows', {
      from,
      to: from + band.rows - 1,
      blocks: spelled,
    });
  });
  return [
    ...steps,
    said('make.repeatRows', { n: period, ending }),
    said(layout.carried ? 'make.carried' : 'make.separate'),
  ];
}

function borderSteps(plan: Steps, spec: ReadyPlanSpec): Said[] {
  const border = plan.border!;
  return border.rounds.map((round) =>
    said(round.round === 1 ? 'make.roundFirst' : 'make.round', {
      n: round.round,
      colour:
        spec.colours.length > 1
          ? said('make.inColour', { colour: spec.colours.find((each) => each.id === round.colour)!.name })
          : '',
      stitch: nameOf(round, spec, plan.terms),
      width: edgeWords(border.widthEdge, 'stitch'),
      height: edgeWords(border.heightEdge, 'row-end'),
      corner: spec.border!.cornerStitches,
      adjust: adjustWords(round),
      stitches: round.stitches,
    }),
  );
}

function nameOf(round: PlannedRound, spec: ReadyPlanSpec, terms: 'us' | 'uk'): string {
  const border = spec.border!;
  const listed: Stitch =
    border.firstRoundStitch.key === round.stitchKey ? border.firstRoundStitch : border.stitch;
  return listed.names[terms];
}

const EDGE_WORDS = {
  stitch: {
    one: 'make.intoStitch',
    many: 'make.intoStitches',
    more: 'make.moreAtStitch',
    out: 'make.outAtStitch',
  },
  'row-end': {
    one: 'make.intoRowEnd',
    many: 'make.intoRowEnds',
    more: 'make.moreAtRowEnd',
    out: 'make.outAtRowEnd',
  },
} as const;

function edgeWords(edge: EdgePickUp, into: keyof typeof EDGE_WORDS): Said {
  const words = EDGE_WORDS[into];
  return said(edge.per === 1 ? words.one : words.many, {
    take: edge.take,
    per: edge.per,
    n: edge.stitches,
    spread:
      edge.extra === 0 ? '' : said(edge.extra > 0 ? words.more : words.out, { places: inARow(edge.extraAt) }),
  });
}

const AT_EDGE = {
  bottom: 'make.atBottom',
  top: 'make.atTop',
  left: 'make.atLeft',
  right: 'make.atRight',
} as const;

function adjustWords(round: PlannedRound): SaidValue {
  if (round.adjust === 0) return '';
  return said(round.adjust > 0 ? 'make.workTwo' : 'make.passOver', {
    where: {
      joined: 'and',
      list: round.adjustAt.map(({ edge, stitches }) => said(AT_EDGE[edge], { places: inARow(stitches) })),
    },
  });
}
