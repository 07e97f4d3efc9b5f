import type { Request } from 'express';
import { z } from 'zod';
import { ProblemError } from '../api/problem.ts';

const uuid = z.uuid();

/** An id from the address; anything that cannot be an id is simply not found. */
export function idOf(req: Request, parameter = 'id'): string {
  const parsed = uuid.safeParse(req.params[parameter]);
  if (!parsed.success) throw new ProblemError('not-found');
  return parsed.data.toLowerCase();
}
