import {
  agreementOf,
  CLEAR_AGREEMENT,
  CLEAR_STRENGTH,
  FAMILIAR,
  FAIR_STRENGTH,
  LEAST_AGREEMENT,
  strengthOf,
} from './agreeOnLattice.ts';
import type { Fabric } from './findFabric.ts';
import type { LatticeFit } from './fitLattice.ts';
import { type Consensus, isBacked, isUnanimous, standsAlone } from './lattice/compareLooks.ts';
import type { meanPitches } from './gauge.ts';
import type { MeasureOptions, Measurement } from './measurement.ts';
import { isOctave, openRivals } from './openRivals.ts';
import type { Rectified } from './rectify.ts';
import { familiarity, hasOddProportions } from './stitchAspects.ts';
import type { Advice, DecodedPhoto, Scale } from './types.ts';

/** What the verdict rests on. */
export interface Evidence {
  lattice: LatticeFit;
  fabric: Fabric;
  scale: Scale | null;
  options: MeasureOptions;
  countings: { stitch: number; row: number; weight: number }[];
  /** Maker's count ÷ what was read, where they differ. */
  countFactor?: { stitch: number; row: number };
  /** What other looks at the same cloth say; absent where the maker counted. */
  consensus: Consensus | null;
  mean: ReturnType<typeof meanPitches>;
  photo: DecodedPhoto;
  flat: Rectified;
}

const STITCHES_UNCLEAR =
  'The stitches cannot be followed across the cloth. Light it from the side, hold the camera steady, and smooth out folds.';

/** Each may be harmless; where three come together, wrong answers are more common than right ones. */
const READING_DOUBTS: ReadonlySet<string> = new Set([
  'stitches-partly-unclear',
  'low-relief',
  'readings-disagree',
  'unfamiliar-fabric',
]);

/** Of 96 cards found in development scenes 2 were below this; so were both of the other things taken for one. */
const SURE_REFERENCE = 0.8;

/**
 * From here on a lattice stands out so strongly that half of the looks may stray, each its own way. Of 540 readings of
 * generated photos ten stood out like that and were disputed by half of the looks: all ten were right. Of 32 disputed
 * ones that stood out less, with nothing else against them, eight were off by more than 4 %.
 */
const STRONG = 0.5;

/** From here on it is sure what the fabric looks like. */
const SURE_FABRIC = 0.8;

/**
 * Whether no more than half of the looks agree with the reading, or several agree on another. A single stray
 * is common, and says something only of a lattice that does not stand out; of cloth that surely looks like one
 * fabric, and is not weak, even two that stray each its own way say little (of 38 such readings of generated cloth 2
 * were wrong, of 26 whose fabric was less sure 12).
 */
function isContested(consensus: Consensus | null, lattice: LatticeFit): boolean {
  if (!consensus || consensus.looks === 0) return false;
  const { support, looks, dissent } = consensus;
  const strength = strengthOf(lattice);
  if (strength >= STRONG) return support < looks / 2 || dissent.some(halvesOrDoubles);
  const strays = looks - support;
  const sure = familiarity(lattice.looksLike) >= SURE_FABRIC;
  if (sure && support >= looks / 2 && strength >= FAIR_STRENGTH)
    return dissent.some(({ votes }) => votes >= 2);
  return (
    !isBacked(consensus) ||
    dissent.some(({ votes }) => votes >= 2) ||
    (strays > 0 && strength < CLEAR_STRENGTH)
  );
}

/**
 * Whether it is plain to see what the fabric is and where its stitches lie. Read alike at every look, such cloth was
 * counted rightly however odd its proportions (8 of 8 generated photos, each read by three readers; of what was less plain
 * and odd, 2 of 6 were off by two): hands differ more than the tables of proportions. Where the maker named the stitch,
 * odd proportions mean that it may be another.
 */
function isPlain(known: number, lattice: LatticeFit, { stitch }: MeasureOptions): boolean {
  return !stitch && known >= FAMILIAR && strengthOf(lattice) >= STRONG;
}

/** Whether several looks agree on half or twice the rows, or stitches. */
function halvesOrDoubles(other: Consensus['dissent'][number]): boolean {
  return other.votes >= 2 && isOctave(other);
}

export interface Verdict {
  status: Measurement['status'];
  advice: Advice[];
}

/**
 * Whether the numbers can be trusted, and what the maker can do when they cannot.
 *
 * Each rule names one thing that spoils a count and its own remedy. A `refuse` rule means that wrong
 * answers are common there, a `doubt` rule that they happen.
 */
export function judge(evidence: Evidence): Verdict {
  const { lattice, scale, options, countings, mean, flat, photo } = evidence;
  const q = lattice.quality;
  const advice: Advice[] = [];
  let status: Measurement['status'] = 'ok';
  const doubt = (code: string, message: string) => {
    advice.push({ code, message });
    if (status === 'ok') status = 'unsure';
  };
  const refuse = (code: string, message: string) => {
    advice.push({ code, message });
    status = 'refused';
  };
  const corrected = (options.corrections ?? []).length > 0;
  const { consensus } = evidence;
  // Where every look at the cloth counts alike, faint waves and an unknown fabric no longer tell right from wrong: of
  // 451 such readings of generated cloth 19 were off, of those that are faint, partly followed or vague no more.
  const unanimous = isUnanimous(consensus);
  const doubtUnlessUnanimous = (code: string, message: string) =>
    unanimous ? advice.push({ code, message }) : doubt(code, message);

  const finest = Math.min(mean.stitch.pitchPx, mean.row.pitchPx) / photo.decodeScale;
  if (finest < 4) {
    refuse('stitches-too-small', 'The stitches are too small in the picture to count. Go closer.');
  }
  const repeats = Math.min(q.repeats.stitches, q.repeats.rows);
  if (repeats < 3) {
    refuse('too-few-repeats', 'Too few stitches or rows are in view. Show at least six of each, better ten.');
  } else if (repeats < 5) {
    doubt('few-repeats', 'Few stitches or rows are in view; ten or more of each give a better count.');
  }
  const agreement = agreementOf(lattice);
  if (agreement < LEAST_AGREEMENT) {
    refuse('stitches-unclear', STITCHES_UNCLEAR);
  } else if (agreement < CLEAR_AGREEMENT) {
    doubtUnlessUnanimous(
      'stitches-partly-unclear',
      'Only part of the cloth could be followed. Light from the side and a flat, plain stretch of fabric help.',
    );
  }
  // What stands out clearly is shown as doubtful even when every other look says something else.
  if (standsAlone(consensus) && strengthOf(lattice) < 0.45) {
    refuse(
      'looks-disagree',
      'The same cloth is read differently at each look, so no number can be trusted. Light it from the side, hold the camera steady, fill the picture with one plain stretch of fabric, or name the stitch.',
    );
  }
  const amplitude = Math.min(q.stitchAmplitude, q.rowAmplitude);
  if (amplitude < (unanimous ? 0.25 : 0.3) && agreement >= LEAST_AGREEMENT) {
    doubtUnlessUnanimous(
      'low-relief',
      'Rows or stitches stand out only faintly. Light from a low lamp or window at one side shows them better.',
    );
  }
  const { countFactor } = evidence;
  // Halves and doubles are two ways to count one thing; anything else means that someone miscounted.
  const odd = (factor: number) => [0.5, 1, 2].every((way) => Math.abs(Math.log(factor / way)) > 0.12);
  if (countFactor && (odd(countFactor.stitch) || odd(countFactor.row))) {
    doubt(
      'count-disagrees',
      'What you counted is neither what the photo shows nor half or twice that. The numbers follow your count; check it.',
    );
  }
  if (!corrected) {
    const disagreement = Math.max(
      Math.abs(q.stitchDisagreement + Math.log(countings[0].stitch)),
      Math.abs(q.rowDisagreement + Math.log(countings[0].row)),
    );
    if (disagreement > 0.14 || isContested(consensus, lattice)) {
      doubt(
        'readings-disagree',
        'Two ways of reading the stitches disagree. Count a few stitches by hand and mark them, and the rest will follow.',
      );
    }
    const known = familiarity(lattice.looksLike);
    if (!options.stitch && known < (unanimous ? 0.4 : 0.55)) {
      doubtUnlessUnanimous(
        'unfamiliar-fabric',
        'It is not clear which stitch this is. Name the stitch, or mark a few stitches that you counted.',
      );
    }
    const rival = Math.max(0, ...openRivals(lattice, consensus).map((r) => r.weight));
    const other = countings.length > 1 ? countings[1].weight / countings[0].weight : 0;
    const fabrics = options.stitch ? [{ stitch: options.stitch, weight: 1 }] : lattice.looksLike;
    const odd =
      !(unanimous && isPlain(known, lattice, options)) &&
      hasOddProportions(fabrics, mean.row.pitchPx / mean.stitch.pitchPx);
    if (Math.max(rival, other) > 0.4 || odd) {
      doubt(
        'two-readings',
        'The pattern can be counted in more than one way. Choose the right one, or mark a few stitches that you counted.',
      );
    }
  }
  const doubts = advice.filter(({ code }) => READING_DOUBTS.has(code)).length;
  if (doubts >= 3 && agreement >= LEAST_AGREEMENT) {
    refuse('stitches-unclear', STITCHES_UNCLEAR);
  }
  const worst = Math.max(mean.stitch.relativeUncertainty, mean.row.relativeUncertainty);
  if (worst > 0.04) {
    doubt(
      'wide-uncertainty',
      'This count is not sharp enough to plan a large piece with. Show more stitches.',
    );
  }
  if (scale) {
    if (scale.tiltDeg > 40) {
      doubt(
        'steep-tilt',
        'The camera looks at the work from far off to one side. Hold it more straight above.',
      );
    }
    if (flat.pxPerMm) {
      const width = mean.stitch.pitchPx / flat.pxPerMm;
      if (width < 1 || width > 40) {
        doubt(
          'unlikely-gauge',
          'This gauge is outside what yarn and hook make. Check that the reference is what it was taken for.',
        );
      }
    }
    if (scale.kind !== 'manual' && scale.confidence < SURE_REFERENCE) {
      doubt(
        'reference-unsure',
        'It is not certain what the scale was taken from. Check the outlined object.',
      );
    }
  }
  return { status, advice };
}
