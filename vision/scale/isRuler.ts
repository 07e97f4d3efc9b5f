import type { Scale } from '../types.ts';

/**
 * Whether a scale was read from the ticks of a ruler or a tape.
 *
 * @example
 * scales.filter(isRuler);
 */
export const isRuler = ({ kind }: Pick<Scale, 'kind'>): boolean => kind === 'ruler' || kind === 'tape';
