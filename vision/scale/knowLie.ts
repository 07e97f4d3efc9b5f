import type { Scale } from '../types.ts';

/**
 * The scale with whether its reference is seen to lie on the cloth or beside it; as it is where that cannot be told.
 *
 * @example
 * knowLie(scale, clothAround(sight, quad)).workHeight?.onCloth; // true
 */
export function knowLie(scale: Scale, onCloth: boolean | null | undefined): Scale {
  const { workHeight } = scale;
  return workHeight && typeof onCloth === 'boolean'
    ? { ...scale, workHeight: { ...workHeight, onCloth } }
    : scale;
}
