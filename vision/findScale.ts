import { badOption } from './badOption.ts';
import { doubtWide } from './scale/doubtWide.ts';
import { cardScale, findCards } from './scale/findCard.ts';
import { findPapers, paperScale } from './scale/findPaper.ts';
import { findSheet } from './scale/findSheet.ts';
import { isRuler } from './scale/isRuler.ts';
import { knowLie } from './scale/knowLie.ts';
import { manualScale } from './scale/manualScale.ts';
import { holdAgainstRuler } from './scale/holdAgainstRuler.ts';
import { readFarTape } from './scale/ruler/farTape.ts';
import { findRulerScales } from './scale/ruler/findRulerScales.ts';
import { isTapeWanted, preferFarTape } from './scale/ruler/preferFarTape.ts';
import { CERTAIN, DOUBTFUL_AT_MOST, TRUSTED } from './scale/trusted.ts';
import { workAbove } from './scale/workHeight.ts';
import { clothAround } from './sight/clothAround.ts';
import { clothBothSides } from './sight/clothBothSides.ts';
import { clothOver } from './sight/clothOver.ts';
import { rulerSeenAlong } from './sight/rulerSeenAlong.ts';
import { shareSeen } from './sight/shareSeen.ts';
import { showsPaper } from './sight/showsPaper.ts';
import { sightThings, sightWhole } from './sight/sightCards.ts';
import { sightRulers } from './sight/sightRulers.ts';
import { sightSheets } from './sight/sightSheets.ts';
import { tapeBodies } from './sight/tapeBodies.ts';
import type { Advice, DecodedPhoto, FindScaleOptions, FindScaleResult, Scale } from './types.ts';

/** Of 72 development scenes with a ruler or tape 71 show as many of its long edges, of 75 without one four. */
const LEAST_RULER_EDGES = 2;
/** Less of the picture than this shows no ruler as a rule: of 72 rulers and tapes the least was 0.55 %. */
const LEAST_RULER_SHARE = 0.003;

/**
 * Finds something of known size in the photo and says how its pixels map to millimetres.
 *
 * With `auto`, kinds are tried from the most exact to the least and the first that is certain is taken.
 * Nothing doubtful is used: `scale` is null then, and `advice` says what would help.
 *
 * @param photo from `decodePhoto`
 * @returns the scale taken, the runners-up, and advice
 * @throws VisionError `bad-option` when `manual` is asked for and its points make no sense
 * @example
 * const { scale } = await findScale(photo, { reference: 'auto' });
 * if (scale) pxToMm(scale, { x: 500, y: 400 }, photo.rgb);
 */
export async function findScale(
  photo: DecodedPhoto,
  options: FindScaleOptions = { reference: 'auto' },
): Promise<FindScaleResult> {
  if (options.reference === 'manual') {
    if (!options.manual) {
      throw badOption('nothing-marked');
    }
    return { scale: manualScale(photo, options.manual), others: [], advice: [] };
  }

  let found: Scale[] = [];
  const certain = (): boolean => found.some((s) => s.confidence >= CERTAIN);
  const wants = (...kinds: FindScaleOptions['reference'][]): boolean =>
    kinds.includes(options.reference) || (options.reference === 'auto' && !certain());

  const sight = wants('card', 'paper', 'ruler', 'tape') ? await sightThings(photo.rgb) : null;
  const whole = sight ?? (await sightWhole(photo.rgb));
  const lookForSheet = (): void => {
    const sheet = findSheet(photo, {
      workHeightMm: workAbove(0.1),
      checkLineMm: options.checkLineMm,
      papers: () => sightSheets(whole),
    });
    if (sheet) found.push(sheet);
  };
  const seesPaper = sight !== null && showsPaper(sight);
  if (wants('sheet') && seesPaper) lookForSheet();
  if (wants('card')) {
    const cards = findCards(photo, {
      workHeightMm: workAbove(0.76),
      sighted: sight?.cards ?? [],
      ...(sight ? { coverOf: (quad) => clothOver(sight, quad) } : {}),
    });
    // They come best first; a lesser one must not overtake by a surer but smaller look-alike.
    const [first, ...rest] = cards
      .slice(0, 3)
      .map((c) => knowLie(cardScale(photo, c), sight && clothAround(sight, c.quad)));
    if (first)
      found.push(first, ...rest.map((c) => ({ ...c, confidence: Math.min(c.confidence, first.confidence) })));
  }
  // It takes a tenth of a measurement: where no paper is seen, only when there was no card.
  if (wants('sheet') && !seesPaper) lookForSheet();
  const seesRuler = sight !== null && shareSeen(sight.maps, 'ruler') > LEAST_RULER_SHARE;
  const rulers = sight && (seesRuler || wants('ruler', 'tape')) ? sightRulers(sight) : null;
  // What is shaped like a card need not be one: where a ruler is seen beside it, the two are held against each other.
  const showsRuler = (rulers?.edges.length ?? 0) >= LEAST_RULER_EDGES;
  const isBesideCard = options.reference === 'auto' && showsRuler;
  if (wants('ruler', 'tape') || isBesideCard) {
    const kinds: ('ruler' | 'tape')[] =
      options.reference === 'ruler' || options.reference === 'tape' ? [options.reference] : ['ruler', 'tape'];
    // A maker who says that there is one is believed.
    const isSeen = (s: Scale): boolean =>
      kinds.length === 1 || rulers === null || rulerSeenAlong(rulers, s.outlinePx);
    const read = findRulerScales(photo, { kinds, sighted: rulers })
      .map((s) => (isSeen(s) ? s : doubtUnseen(doubtWide(s))))
      .map((s) => knowLie(s, sight && clothBothSides(sight, s.outlinePx)));
    found = holdAgainstRuler([...found, ...read]);
  }
  // From where a whole piece is in view a tape's small marks run together; all of its large ones still tell.
  if (['auto', 'ruler', 'tape'].includes(options.reference) && sight && isTapeWanted(found)) {
    const far = readFarTape(photo, await tapeBodies(photo.rgb));
    found = preferFarTape(found, far && knowLie(far, clothBothSides(sight, far.outlinePx)), photo.rgb);
  }

  const advice: Advice[] = [];
  // Where none is seen, pale cloth and tables pass for paper as often as paper is found; a maker who says so is believed.
  if (options.reference === 'paper' || (wants('paper') && seesPaper)) {
    const { paperSize } = options;
    const [paper] = findPapers(photo, { workHeightMm: workAbove(0.1), paperSize, sight });
    if (paper) {
      const clear = paper.fits.length === 1;
      found.push(
        ...paper.fits.map((f) =>
          paperScale(photo, paper, f, clear ? paper.confidence : Math.min(0.4, paper.confidence)),
        ),
      );
      if (!clear && paper.confidence >= TRUSTED) advice.push(WHICH_PAPER);
      // a pale thing of a sheet's shape is none where a ruler's ticks say otherwise
      if (options.reference === 'auto') found = holdAgainstRuler(found);
    }
  }

  const [best, ...others] = found.map(doubtWide).sort((p, q) => q.confidence - p.confidence);
  if (best && best.confidence >= TRUSTED) return { scale: best, others, advice: [], sight: whole };
  return {
    scale: null,
    others: best ? [best, ...others] : [],
    advice: advice.length > 0 ? advice : adviceFor(options.reference, best, showsRuler),
    sight: whole,
  };
}

/** Ticks where no ruler is seen may be rows of stitches: doubtful at best, and nothing where they were doubtful already. */
function doubtUnseen(scale: Scale): Scale {
  return { ...scale, confidence: scale.confidence > DOUBTFUL_AT_MOST ? DOUBTFUL_AT_MOST : 0.1 };
}

const WHICH_PAPER: Advice = {
  code: 'which-paper',
  message:
    'A sheet of paper was found, but not which: A4 and A5 have the same shape. Say whether it is A4, A5 or Letter, and it will be measured with.',
};

const NAMES: Record<FindScaleOptions['reference'], string> = {
  auto: 'anything of known size',
  card: 'a card',
  ruler: 'a ruler',
  tape: 'a tape measure',
  paper: 'a sheet of paper',
  sheet: 'the measuring sheet',
  manual: 'marks',
};

/** Below this something is hardly worth a name, and a ruler that is seen is what the maker laid there. */
const HARDLY_ANYTHING = 0.1;

const RULER_UNREAD: Advice = {
  code: 'ruler-unread',
  message:
    'A ruler or tape is in the photo, but its small marks could not be read. Come closer, so that they are sharp, or lay a card or the measuring sheet there instead; or mark a known length by hand.',
};

function adviceFor(
  reference: FindScaleOptions['reference'],
  best: Scale | undefined,
  seesRuler: boolean,
): Advice[] {
  // a ruler's finder knows best what its ticks do not tell
  if (best && best.advice.length > 0 && isRuler(best)) return best.advice;
  if (seesRuler && (best?.confidence ?? 0) < HARDLY_ANYTHING) return [RULER_UNREAD];
  if (best) {
    return [
      {
        code: 'reference-uncertain',
        message: `Something that may be ${NAMES[best.kind]} is in the photo, but not clearly enough to measure by. Lay it flat and wholly in view, without glare, on something of another colour; or mark it by hand.`,
      },
    ];
  }
  return [
    {
      code: 'no-reference',
      message: `The photo does not show ${NAMES[reference]}. Lay a library or loyalty card, a ruler or the printed measuring sheet flat beside the work, wholly in view, and take the photo again; or mark two points and their distance by hand.`,
    },
  ];
}
