import { availableParallelism } from 'node:os';
import { basename } from 'node:path';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { PAPER_SIZES, REFERENCE_KINDS, STITCH_KEYS, type StitchKey } from '../../vision/types.ts';
import { writeFileAtomically } from '../writeFileAtomically.ts';
import { describeMeasurement } from './describeMeasurement.ts';
import { EXIT, InputError } from './exit.ts';
import { parseArguments } from './parseArguments.ts';
import { print } from './print.ts';
import { readInputFile } from './readInputFile.ts';

const USAGE =
  'gauge measure PHOTO [--reference auto|card|ruler|tape|paper|sheet] [--stitch KEY] [--yarn 0-7] [--paper a4|a5|letter] [--pixels] [--overlay OUT.png] [--json]';

/** What can be found without help; `manual` needs points, which only the page can ask for. */
const REFERENCES = ['auto', ...REFERENCE_KINDS.filter((kind) => kind !== 'manual')] as const;

/**
 * `gauge measure`: one photo in, its gauge out.
 *
 * @returns 0 for ok and unsure, 3 for refused
 * @throws InputError, VisionError
 */
export async function measureCommand(args: string[]): Promise<number> {
  const { values, positionals } = parseArguments(
    args,
    {
      reference: { type: 'string' },
      stitch: { type: 'string' },
      yarn: { type: 'string' },
      paper: { type: 'string' },
      pixels: { type: 'boolean' },
      overlay: { type: 'string' },
      json: { type: 'boolean' },
    },
    USAGE,
  );
  if (positionals.length !== 1) throw new InputError('Name one photo to measure.', `Usage: ${USAGE}`);
  const path = positionals[0]!;
  const stitch =
    values.stitch === undefined ? null : oneOf<StitchKey>('--stitch', values.stitch, STITCH_KEYS);
  const options: MeasureOptions = {
    ...referenceOptions(values),
    ...(stitch ? { stitch } : {}),
    ...(values.yarn === undefined ? {} : { expectedStitchesPer10cm: await usualIn(values.yarn, stitch) }),
    ...(values.pixels ? { pixelsOnly: true } : {}),
  };

  const bytes = await readInputFile(path);
  const { decodeToMeasure } = await import('../../vision/decode.ts');
  const decoding = decodeToMeasure(bytes);
  const { measurePhoto } = await import('../../vision/measurePhoto.ts');
  const { useThreads } = await import('../../vision/network.ts');
  useThreads(threadsWhenFresh());
  const measurement = await measurePhoto(decoding, options);

  if (values.overlay !== undefined) {
    const { drawOverlay } = await import('../../vision/drawOverlay.ts');
    await writeOutput(values.overlay, await drawOverlay(bytes, measurement));
  }
  print(
    values.json
      ? JSON.stringify(measurement)
      : describeMeasurement(basename(path), measurement, {
          isNamed: stitch !== null,
          overlayPath: values.overlay,
        }),
  );
  return measurement.status === 'refused' ? EXIT.refused : EXIT.answered;
}

/**
 * What of known size is to be looked for, from `--reference` and `--paper`.
 *
 * @throws InputError for what cannot be looked for
 */
export function referenceOptions(values: {
  reference?: string | undefined;
  paper?: string | undefined;
}): Pick<MeasureOptions, 'reference' | 'paperSize'> {
  const paperSize = values.paper === undefined ? undefined : oneOf('--paper', values.paper, PAPER_SIZES);
  return {
    reference: oneOf('--reference', values.reference ?? (paperSize ? 'paper' : 'auto'), REFERENCES),
    ...(paperSize ? { paperSize } : {}),
  };
}

/**
 * Threads for networks in a process that has just begun: of two cores the compiler needs one, and a second thread that
 * waits for its turn by turning round would be in its way.
 */
export const threadsWhenFresh = (): 1 | 2 => (availableParallelism() > 2 ? 2 : 1);

/** Stitches per 10 cm that are usual in yarn of the number on its label; the arithmetic is loaded when it is asked for. */
async function usualIn(yarn: string, stitch: StitchKey | null): Promise<{ low: number; high: number }> {
  const { expectedStitches, YARN_CATEGORIES } = await import('../../calc/index.ts');
  const numbers = YARN_CATEGORIES.map(({ number }) => String(number));
  return expectedStitches(YARN_CATEGORIES[Number(oneOf('--yarn', yarn, numbers))]!, stitch);
}

function oneOf<T extends string>(option: string, given: string, allowed: readonly T[]): T {
  const found = allowed.find((one) => one === given);
  if (found === undefined) {
    throw new InputError(`${option} cannot be "${given}".`, `It can be one of: ${allowed.join(', ')}.`);
  }
  return found;
}

async function writeOutput(path: string, bytes: Uint8Array): Promise<void> {
  try {
    await writeFileAtomically(path, bytes);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why =
      code === 'ENOENT'
        ? 'its folder does not exist'
        : code === 'ENOSPC'
          ? 'the disk is full'
          : code === 'EROFS' || code === 'EACCES' || code === 'EPERM'
            ? 'nothing may be written there'
            : code === 'EISDIR'
              ? 'it is a folder'
              : `of ${code ?? 'an unknown reason'}`;
    throw new InputError(`"${path}" could not be written: ${why}.`);
  }
}
