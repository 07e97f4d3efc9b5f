import { isWritable, spellForPaper } from './letters.ts';

/** Words that stay together on a line, and how wide they are. */
export interface Run {
  words: string;
  widthPt: number;
  /** False where the PDF's own letters cannot write them. */
  isWritable: boolean;
}

/** How wide words are at the size they will have, in points. */
export type Measure = (words: string) => number;

/**
 * Breaks a sentence into lines. Words that have to be drawn as pictures are kept together where they fit, so that
 * scripts that run from right to left read right; what is wider than a line is cut between its letters.
 *
 * @param widthPt of a line
 * @returns lines of runs, to be set apart by one space
 */
export function breakLines(sentence: string, widthPt: number, measure: Measure): Run[][] {
  const spacePt = measure(' ');
  const lines: Run[][] = [];
  let line: Run[] = [];
  let leftPt = widthPt;
  for (const run of runsOf(sentence, widthPt, measure)) {
    if (line.length > 0 && run.widthPt > leftPt) {
      lines.push(line);
      line = [];
      leftPt = widthPt;
    }
    line.push(run);
    leftPt -= run.widthPt + spacePt;
  }
  return line.length > 0 ? [...lines, line] : lines;
}

function runsOf(sentence: string, widthPt: number, measure: Measure): Run[] {
  const runs: Run[] = [];
  const runOf = (words: string): Run => ({ words, widthPt: measure(words), isWritable: isWritable(words) });
  for (const word of spellForPaper(sentence).split(' ').filter(Boolean)) {
    const before = runs.at(-1);
    const alone = runOf(word);
    const together = before && !before.isWritable && !alone.isWritable && runOf(`${before.words} ${word}`);
    if (together && together.widthPt <= widthPt) runs[runs.length - 1] = together;
    else if (alone.widthPt <= widthPt) runs.push(alone);
    else runs.push(...cutToFit(word, widthPt, measure).map(runOf));
  }
  return runs;
}

/** A word without spaces that is wider than the line, cut between what a reader sees as letters. */
function cutToFit(word: string, widthPt: number, measure: Measure): string[] {
  const pieces: string[] = [];
  let piece = '';
  for (const { segment } of new Intl.Segmenter().segment(word)) {
    if (piece && measure(piece + segment) > widthPt) {
      pieces.push(piece);
      piece = '';
    }
    piece += segment;
  }
  return piece ? [...pieces, piece] : pieces;
}
