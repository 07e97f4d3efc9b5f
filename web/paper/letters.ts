/** What the PDF's own letters can hold: WinAnsi (ISO 32000-1, annex D.2), which is Windows code page 1252. */
const WRITABLE =
  /^[\u0020-\u007e\u00a0-\u00ff\u20ac\u201a\u0192\u201e\u2026\u2020\u2021\u02c6\u2030\u0160\u2039\u0152\u017d\u2018\u2019\u201c\u201d\u2022\u2013\u2014\u02dc\u2122\u0161\u203a\u0153\u017e\u0178]*$/;

/** Whether the PDF's own letters can write it; if not, it has to be drawn as a picture. */
export const isWritable = (words: string): boolean => WRITABLE.test(words);

/**
 * The same words, spelled so that the PDF's own letters can write as much of them as possible: accents joined to
 * their letters, the narrow space and the minus of some number formats replaced, no line breaks, nothing invisible.
 *
 * @example
 * spellForPaper('Cafe\u0301, \u22122'); // 'Café, –2'
 */
export function spellForPaper(words: string): string {
  return words
    .normalize('NFC')
    .replace(/[\u2009\u202f]/g, '\u00a0')
    .replace(/[\u2010\u2011]/g, '-')
    .replace(/\u2212/g, '\u2013')
    .replace(/[\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]/g, '')
    .replace(/[\s\p{Cc}]+/gu, (spaces) => (spaces.includes('\u00a0') ? '\u00a0' : ' '))
    .trim();
}
