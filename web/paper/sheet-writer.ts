import {
  PageSizes,
  PDFDocument,
  PDFHexString,
  PDFOperator,
  PDFOperatorNames,
  StandardFonts,
  grayscale,
  type PDFFont,
  type PDFPage,
} from 'pdf-lib';
import { breakLines, type Run } from './break-lines.ts';
import { hexColour } from './hex-colour.ts';
import { isWritable } from './letters.ts';
import type { TextStyle, WordPictures } from './word-pictures.ts';

export type Paper = 'a4' | 'letter';
const SIZES: Record<Paper, [number, number]> = { a4: PageSizes.A4, letter: PageSizes.Letter };

const POINTS_PER_MM = 72 / 25.4;
/** As much as the print style sheet leaves. */
const MARGIN = 15 * POINTS_PER_MM;
/** Room for the line at the foot. */
const FOOT = 18;
const LEADING = 1.32;

/** A column of a table, in points. */
export interface Column {
  widthPt: number;
  align: 'left' | 'right';
}
export interface Cell {
  words: string;
  /** A square of this colour before the words, `#rrggbb`. */
  chip?: string | null | undefined;
}

/**
 * Writes down a PDF from top to bottom, page by page. What the PDF's own letters cannot write is drawn as a
 * picture, with the words kept beside it for searching, copying and reading aloud.
 */
export class SheetWriter {
  readonly pdf: PDFDocument;
  readonly #regular: PDFFont;
  readonly #bold: PDFFont;
  readonly #pictures: WordPictures;
  readonly #size: [number, number];
  #page: PDFPage;
  #y: number;

  private constructor(
    pdf: PDFDocument,
    [regular, bold]: [PDFFont, PDFFont],
    options: { paper: Paper; pictures: WordPictures },
  ) {
    this.pdf = pdf;
    this.#regular = regular;
    this.#bold = bold;
    this.#pictures = options.pictures;
    this.#size = SIZES[options.paper];
    this.#page = pdf.addPage(this.#size);
    this.#y = this.#size[1] - MARGIN;
  }

  static async open(options: { paper: Paper; pictures: WordPictures }): Promise<SheetWriter> {
    const pdf = await PDFDocument.create();
    const regular = await pdf.embedFont(StandardFonts.Helvetica);
    const bold = await pdf.embedFont(StandardFonts.HelveticaBold);
    return new SheetWriter(pdf, [regular, bold], options);
  }

  /** The page that is being written. */
  get page(): PDFPage {
    return this.#page;
  }
  get leftPt(): number {
    return MARGIN;
  }
  get widthPt(): number {
    return this.#size[0] - 2 * MARGIN;
  }

  /** Makes sure that so much fits beneath, on a fresh page if need be, and answers with where it begins. */
  room(heightPt: number): number {
    if (this.#y - heightPt < MARGIN + FOOT) {
      this.#page = this.pdf.addPage(this.#size);
      this.#y = this.#size[1] - MARGIN;
    }
    return this.#y;
  }
  /** Goes on further down. */
  down(pt: number): void {
    this.#y -= pt;
  }

  /** A sentence over the whole width, or a part of it; kept whole on one page. */
  async paragraph(
    words: string,
    style: TextStyle,
    { indentPt = 0, label = '' }: { indentPt?: number; label?: string } = {},
  ): Promise<void> {
    const lines = this.#lines(words, style, this.widthPt - indentPt);
    const step = style.sizePt * LEADING;
    const top = this.room(lines.length * step);
    if (label && lines.length > 0)
      await this.#line(this.#lines(label, style, indentPt)[0] ?? [], style, {
        x: MARGIN,
        y: top - style.sizePt,
      });
    for (const [index, line] of lines.entries())
      await this.#line(line, style, { x: MARGIN + indentPt, y: top - style.sizePt - index * step });
    this.down(lines.length * step);
  }

  /** A heading that never stands alone at the foot of a page. */
  async heading(words: string): Promise<void> {
    this.down(12);
    this.room(60);
    await this.paragraph(words, { sizePt: 13, bold: true });
    this.down(4);
  }

  /** Cells side by side, each as tall as the tallest, and a thin line beneath unless it is left open. */
  async row(
    columns: Column[],
    cells: Cell[],
    style: TextStyle,
    { isOpen = false }: { isOpen?: boolean } = {},
  ): Promise<void> {
    const gap = 8;
    const chipPt = (cell: Cell) => (cell.chip ? style.sizePt + 4 : 0);
    const set = columns.map(({ widthPt }, i) => {
      const cell = cells[i] ?? { words: '' };
      return { cell, lines: this.#lines(cell.words, style, widthPt - gap - chipPt(cell)) };
    });
    const step = style.sizePt * LEADING;
    const height = Math.max(1, ...set.map(({ lines }) => lines.length)) * step + 5;
    const top = this.room(height);
    let x = MARGIN;
    for (const [i, { widthPt, align }] of columns.entries()) {
      const { cell, lines } = set[i]!;
      if (cell.chip) this.square({ x, y: top - style.sizePt - 1, side: style.sizePt, fill: cell.chip });
      for (const [index, line] of lines.entries()) {
        const over = align === 'right' ? widthPt - gap - this.#widthOf(line, style) : chipPt(cell);
        await this.#line(line, style, { x: x + over, y: top - style.sizePt - index * step });
      }
      x += widthPt;
    }
    if (!isOpen)
      this.#page.drawLine({
        start: { x: MARGIN, y: top - height + 2 },
        end: { x: MARGIN + this.widthPt, y: top - height + 2 },
        thickness: 0.5,
        color: grayscale(0.7),
      });
    this.down(height);
  }

  /** A small filled square with a thin edge. */
  square({ x, y, side, fill }: { x: number; y: number; side: number; fill: string }): void {
    this.#page.drawRectangle({
      x,
      y,
      width: side,
      height: side,
      color: hexColour(fill),
      borderColor: grayscale(0.4),
      borderWidth: 0.5,
    });
  }

  /** One line of words, wherever it is wanted on the page that is being written. */
  async words(
    words: string,
    style: TextStyle,
    at: { x: number; y: number; align?: 'left' | 'middle' | 'right'; widthPt?: number },
  ): Promise<void> {
    const [line = []] = this.#lines(words, style, at.widthPt ?? this.widthPt);
    const back = { left: 0, middle: 0.5, right: 1 }[at.align ?? 'left'] * this.#widthOf(line, style);
    await this.#line(line, style, { x: at.x - back, y: at.y });
  }

  /** The name at the foot of every page, and which page it is. */
  async finish(name: string): Promise<Uint8Array> {
    const pages = this.pdf.getPages();
    const style = { sizePt: 9 };
    for (const [index, page] of pages.entries()) {
      this.#page = page;
      const y = MARGIN;
      const counted = `${index + 1} / ${pages.length}`;
      await this.words(name, style, { x: MARGIN, y, widthPt: this.widthPt - 60 });
      const width = this.#measure(style)(counted);
      await this.words(counted, style, { x: MARGIN + this.widthPt - width, y });
    }
    return this.pdf.save();
  }

  #font({ bold }: TextStyle): PDFFont {
    return bold ? this.#bold : this.#regular;
  }
  #measure(style: TextStyle): (words: string) => number {
    return (words) =>
      isWritable(words)
        ? this.#font(style).widthOfTextAtSize(words, style.sizePt)
        : this.#pictures.widthPt(words, style);
  }
  #lines(words: string, style: TextStyle, widthPt: number): Run[][] {
    return breakLines(words, widthPt, this.#measure(style));
  }
  #widthOf(line: Run[], style: TextStyle): number {
    const space = this.#measure(style)(' ');
    return line.reduce((sum, run) => sum + run.widthPt + space, 0) - (line.length > 0 ? space : 0);
  }

  async #line(line: Run[], style: TextStyle, at: { x: number; y: number }): Promise<void> {
    const space = this.#measure(style)(' ');
    let { x } = at;
    for (const run of joinWritable(line, space)) {
      if (run.isWritable)
        this.#page.drawText(run.words, { x, y: at.y, size: style.sizePt, font: this.#font(style) });
      else await this.#picture(run.words, style, { x, y: at.y });
      x += run.widthPt + space;
    }
  }

  async #picture(words: string, style: TextStyle, at: { x: number; y: number }): Promise<void> {
    const { png, widthPt, heightPt, belowPt } = this.#pictures.draw(words, style);
    const image = await this.pdf.embedPng(png);
    // ISO 32000-1, 14.9.4: what the picture says, for those who search, copy or listen.
    const said = `<</ActualText ${PDFHexString.fromText(words).toString()}>>`;
    this.#page.pushOperators(PDFOperator.of(PDFOperatorNames.BeginMarkedContentSequence, ['/Span', said]));
    this.#page.drawImage(image, { x: at.x, y: at.y - belowPt, width: widthPt, height: heightPt });
    this.#page.pushOperators(PDFOperator.of(PDFOperatorNames.EndMarkedContent));
  }
}

/** Runs that the PDF's letters can write, joined: fewer and longer texts, that readers find whole. */
function joinWritable(line: Run[], spacePt: number): Run[] {
  return line.reduce<Run[]>((joined, run) => {
    const before = joined.at(-1);
    if (!before?.isWritable || !run.isWritable) return [...joined, run];
    const together: Run = {
      words: `${before.words} ${run.words}`,
      widthPt: before.widthPt + spacePt + run.widthPt,
      isWritable: true,
    };
    return [...joined.slice(0, -1), together];
  }, []);
}
