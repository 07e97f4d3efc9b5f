import { planPiece, type PlanSpec } from '../../calc/index.ts';
import { describePlan } from './describePlan.ts';
import { EXIT, InputError } from './exit.ts';
import { parseArguments } from './parseArguments.ts';
import { print } from './print.ts';
import { readInputFile } from './readInputFile.ts';

const USAGE = 'gauge plan SPEC.json [--json]';

/**
 * `gauge plan`: a plan specification in (see `calc/planSpec.ts`), the plan out.
 *
 * @throws InputError, CalcError
 */
export async function planCommand(args: string[]): Promise<number> {
  const { values, positionals } = parseArguments(args, { json: { type: 'boolean' } }, USAGE);
  if (positionals.length !== 1) throw new InputError('Name one plan specification.', `Usage: ${USAGE}`);
  const plan = planPiece((await readJsonFile(positionals[0]!)) as PlanSpec);
  print(values.json ? JSON.stringify(plan) : describePlan(plan));
  return EXIT.answered;
}

/** @throws InputError when the file is missing or no JSON */
export async function readJsonFile(path: string): Promise<unknown> {
  const text = Buffer.from(await readInputFile(path)).toString('utf8');
  try {
    return JSON.parse(text.replace(/^\uFEFF/, '')) as unknown;
  } catch (error) {
    throw new InputError(`"${path}" is not JSON: ${(error as Error).message}.`);
  }
}
