import { SENTENCES } from './sentences.ts';

export interface Advice {
  code: string;
  message: string;
}

/** Under this length a blanket is most likely meant for a baby, mm. */
const BABY_BLANKET_MAX_MM = 1100;

/**
 * The usual cautions for infant bedding. Public-health guidance (American Academy of Pediatrics,
 * safe-sleep recommendations) keeps loose bedding out of an infant's sleep space in the first year.
 */
export const INFANT_CAUTION: Advice = {
  code: 'infant-bedding',
  message: SENTENCES['caution.infant-bedding'],
};

/** Cautions that belong to a finished size, width and height in mm. */
export function cautionsFor(size: { widthMm: number; heightMm: number; forInfant: boolean }): Advice[] {
  if (size.forInfant) return [INFANT_CAUTION];
  const small =
    Math.min(size.widthMm, size.heightMm) >= 600 &&
    Math.max(size.widthMm, size.heightMm) <= BABY_BLANKET_MAX_MM;
  if (!small) return [];
  return [
    {
      code: 'infant-size',
      message: SENTENCES['caution.infant-size'],
    },
  ];
}
