/**
 * Crochet terms, US and UK. The same words mean different stitches on the two sides (a US double
 * crochet is a UK treble), so text is always written from these pairs and never translated back.
 */
export const CROCHET_TERMS = [
  { us: 'slip stitch', uk: 'slip stitch', usShort: 'sl st', ukShort: 'ss' },
  { us: 'single crochet', uk: 'double crochet', usShort: 'sc', ukShort: 'dc' },
  { us: 'half double crochet', uk: 'half treble', usShort: 'hdc', ukShort: 'htr' },
  { us: 'double crochet', uk: 'treble', usShort: 'dc', ukShort: 'tr' },
  { us: 'treble crochet', uk: 'double treble', usShort: 'tr', ukShort: 'dtr' },
  { us: 'double treble crochet', uk: 'triple treble', usShort: 'dtr', ukShort: 'ttr' },
  { us: 'gauge', uk: 'tension', usShort: 'gauge', ukShort: 'tension' },
  { us: 'skip', uk: 'miss', usShort: 'sk', ukShort: 'miss' },
  { us: 'bind off', uk: 'cast off', usShort: 'BO', ukShort: 'cast off' },
  { us: 'fasten off', uk: 'fasten off', usShort: 'FO', ukShort: 'fasten off' },
] as const;

export type Terms = 'us' | 'uk';

/**
 * A US term or abbreviation in the wanted terms.
 *
 * @example inTerms('double crochet', 'uk'); // 'treble'
 * @example inTerms('hdc', 'uk'); // 'htr'
 */
export function inTerms(usTerm: string, terms: Terms): string {
  if (terms === 'us') return usTerm;
  for (const term of CROCHET_TERMS) {
    if (term.us === usTerm) return term.uk;
    if (term.usShort === usTerm) return term.ukShort;
  }
  return usTerm;
}
