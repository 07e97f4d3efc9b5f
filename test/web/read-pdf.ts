import { decodePDFRawStream, PDFArray, PDFDocument, PDFName, PDFRawStream, type PDFPage } from 'pdf-lib';

export interface ReadPage {
  /** In whole millimetres, `210 × 297`. */
  size: string;
  /** Every text in the order in which it was written, what pictures stand for among them. */
  words: string[];
  /** Where words would be written outside of the page's margins. */
  strays: string[];
  pictures: number;
  /** Fill colours of rectangles, `r g b` as numbers from 0 to 1. */
  fills: Set<string>;
}

/** Reads a PDF made of standard letters (WinAnsi) back: what stands on each page, and where. */
export async function readPdf(bytes: Uint8Array): Promise<{ title: string | undefined; pages: ReadPage[] }> {
  const pdf = await PDFDocument.load(bytes);
  return { title: pdf.getTitle(), pages: pdf.getPages().map(readPage) };
}

/** Code page 1252 from 80 to 9F; elsewhere it is Latin-1. (Some versions of Node decode it all as Latin-1.) */
const FROM_80 = '€\u0081‚ƒ„…†‡ˆ‰Š‹Œ\u008dŽ\u008f\u0090‘’“”•–—˜™š›œ\u009džŸ';
const fromWinAnsi = (bytes: Uint8Array): string =>
  [...bytes].map((byte) => FROM_80[byte - 0x80] ?? String.fromCharCode(byte)).join('');

function readPage(page: PDFPage): ReadPage {
  const mm = (points: number): number => Math.round((points * 25.4) / 72);
  const drawn = contentOf(page);
  const found: ReadPage = {
    size: `${mm(page.getWidth())} × ${mm(page.getHeight())}`,
    words: [],
    strays: [],
    pictures: [...drawn.matchAll(/\/Image[^\s]* Do\b/g)].length,
    fills: new Set([...drawn.matchAll(/([\d.]+ [\d.]+ [\d.]+) rg\b/g)].map((match) => match[1]!)),
  };
  let at = { x: 0, y: 0 };
  // A text's place, a text, or what a picture says with the picture's place.
  const pieces =
    /([-\d.]+) ([-\d.]+) Tm\b|<([0-9A-F]*)> Tj\b|ActualText <([0-9A-F]+)>[^]*?1 0 0 1 ([-\d.]+) ([-\d.]+) cm\b/g;
  for (const [, x, y, hex, said, pictureX, pictureY] of drawn.matchAll(pieces)) {
    if (x !== undefined || said !== undefined) at = { x: Number(x ?? pictureX), y: Number(y ?? pictureY) };
    if (hex === undefined && said === undefined) continue;
    // ISO 32000-1: WinAnsi is code page 1252; a text string that begins with FE FF is UTF-16.
    const words = said
      ? new TextDecoder('utf-16be').decode(Buffer.from(said, 'hex')).replace('\uFEFF', '')
      : fromWinAnsi(Buffer.from(hex ?? '', 'hex'));
    found.words.push(words);
    const edge = 38;
    if (at.x < edge || at.x > page.getWidth() - edge || at.y < edge || at.y > page.getHeight() - edge)
      found.strays.push(`${words} at ${at.x}, ${at.y}`);
  }
  return found;
}

function contentOf(page: PDFPage): string {
  const contents = page.node.Contents();
  const streams = contents instanceof PDFArray ? contents.asArray() : [contents];
  return streams
    .map((one) => page.doc.context.lookup(one))
    .map((stream) => {
      if (!(stream instanceof PDFRawStream)) throw new Error(`no stream: ${String(stream)}`);
      return stream.dict.has(PDFName.of('Filter'))
        ? new TextDecoder('latin1').decode(decodePDFRawStream(stream).decode())
        : new TextDecoder('latin1').decode(stream.getContents());
    })
    .join('\n');
}
