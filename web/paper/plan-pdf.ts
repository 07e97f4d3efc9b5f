import type { Plan, ReadyPlanSpec } from '../../calc/index.ts';
import { formatDay, formatNumber, makeFormat, type Format } from '../lib/format.ts';
import type { Preferences } from '../lib/preferences.tsx';
import { sayIn } from '../lib/say.ts';
import { spreadOf } from '../lib/spread-of.ts';
import { text } from '../lib/text.ts';
import { cautionWords, gaugeSentence, planFigures } from '../plan/plan-words.ts';
import { basisSentence, runningOutSentence } from '../plan/yarn-words.ts';
import { drawPiece } from './draw-piece.ts';
import { SheetWriter, type Column, type Paper } from './sheet-writer.ts';
import type { WordPictures } from './word-pictures.ts';

export interface PlanPdfOptions {
  /** What the maker calls the piece, in any script. */
  name: string;
  plan: Plan;
  ready: ReadyPlanSpec;
  lengths: Preferences['lengths'];
  paper: Paper;
  madeAt: Date;
  /** Draws what the PDF's own letters cannot write. */
  pictures: WordPictures;
}

const BODY = { sizePt: 10.5 };
const STRONG = { sizePt: 10.5, bold: true };
const SMALL = { sizePt: 9 };

/**
 * The plan as a PDF file of A4 or Letter pages: the numbers, the piece to scale, cautions, yarn, instructions.
 *
 * @example
 * const bytes = await makePlanPdf({ name: 'Harbour throw', plan, ready, lengths: 'cm', paper: 'a4', … });
 */
export async function makePlanPdf(options: PlanPdfOptions): Promise<Uint8Array> {
  const { name, plan, ready, lengths, paper, madeAt, pictures } = options;
  const format = makeFormat(lengths);
  const sheet = await SheetWriter.open({ paper, pictures });
  sheet.pdf.setTitle(name, { showInWindowTitleBar: true });
  sheet.pdf.setCreator(text('app.name'));
  sheet.pdf.setCreationDate(madeAt);
  sheet.pdf.setLanguage('en');

  await sheet.paragraph(name, { sizePt: 20, bold: true });
  await sheet.paragraph(text('out.planOf', { day: formatDay(madeAt.toISOString()) }), SMALL);
  sheet.down(8);
  await writeFigures(sheet, plan, format);
  for (const caution of plan.cautions) {
    sheet.down(6);
    await sheet.paragraph(text('caution.heading'), STRONG);
    await sheet.paragraph(cautionWords(caution), BODY);
  }
  sheet.down(8);
  await sheet.paragraph(gaugeSentence(plan, format), BODY);
  sheet.down(10);
  await drawPiece(sheet, { plan, ready, format });
  await sheet.paragraph(text('picture.caption'), SMALL);
  await writeYarn(sheet, { plan, ready, format });

  await sheet.heading(text('instructions.heading'));
  const say = sayIn(lengths);
  for (const [index, step] of plan.steps.entries()) {
    await sheet.paragraph(say(step), BODY, { indentPt: 24, label: `${formatNumber(index + 1)}.` });
    sheet.down(3);
  }
  return sheet.finish(name);
}

/** Chain, rows, border and size, side by side. */
async function writeFigures(sheet: SheetWriter, plan: Plan, format: Format): Promise<void> {
  const figures = planFigures(plan, format);
  const shares = [0.2, 0.18, 0.22, 0.4];
  const columns: Column[] = shares.map((share) => ({ widthPt: share * sheet.widthPt, align: 'left' }));
  const cells = (wordsOf: (figure: (typeof figures)[number]) => string) =>
    figures.map((figure) => ({ words: wordsOf(figure) }));
  await sheet.row(
    columns,
    cells(({ name }) => name),
    STRONG,
    { isOpen: true },
  );
  await sheet.row(
    columns,
    cells(({ main }) => main),
    { sizePt: 18, bold: true },
    { isOpen: true },
  );
  await sheet.row(
    columns,
    cells(({ below }) => below.join(', ')),
    SMALL,
  );
}

/** The yarn to buy, colour by colour, and the chance of running out in sentences. */
async function writeYarn(
  sheet: SheetWriter,
  { plan, ready, format }: { plan: Plan; ready: ReadyPlanSpec; format: Format },
): Promise<void> {
  const { yarn } = plan;
  await sheet.heading(text('yarn.heading'));
  if (!yarn) return await sheet.paragraph(text('yarn.unknown'), BODY);
  const columns: Column[] = [0.43, 0.22, 0.19, 0.16].map((share, index) => ({
    widthPt: share * sheet.widthPt,
    align: index === 0 ? 'left' : 'right',
  }));
  const names = [text('yarn.colour'), text('yarn.grams'), text('yarn.length'), text('yarn.skeins')];
  await sheet.row(
    columns,
    names.map((words) => ({ words })),
    STRONG,
  );
  for (const each of yarn.perColour) {
    const chip = ready.colours.find((one) => one.id === each.colour)?.hex;
    const grams = `${format.grams(each.grams.value)} ± ${formatNumber(spreadOf(each.grams))}`;
    const cells = [
      { words: each.name, chip },
      { words: grams },
      { words: each.metres ? format.yarn(each.metres.value) : '–' },
      { words: each.skeins ? formatNumber(each.skeins.forSafety95) : '–' },
    ];
    await sheet.row(columns, cells, BODY);
  }
  const skeins = yarn.perColour.reduce((sum, each) => sum + (each.skeins?.forSafety95 ?? 0), 0);
  const totals = [
    text('yarn.total'),
    format.grams(yarn.totalGrams.value),
    yarn.totalMetres ? format.yarn(yarn.totalMetres.value) : '–',
    formatNumber(skeins),
  ];
  await sheet.row(
    columns,
    totals.map((words) => ({ words })),
    STRONG,
  );
  sheet.down(4);
  for (const each of yarn.perColour) await sheet.paragraph(runningOutSentence(each, format), BODY);
  await sheet.paragraph(basisSentence(yarn.perColour, format), SMALL);
}
