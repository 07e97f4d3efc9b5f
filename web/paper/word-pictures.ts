/** Letters of one size. */
export interface TextStyle {
  sizePt: number;
  bold?: boolean;
}

/** Words as a picture: for scripts that a PDF's own letters do not have. */
export interface WordPicture {
  png: Uint8Array;
  widthPt: number;
  heightPt: number;
  /** How far it reaches below the line that the words stand on. */
  belowPt: number;
}

/** Draws words with whatever letters the device has. */
export interface WordPictures {
  widthPt(words: string, style: TextStyle): number;
  draw(words: string, style: TextStyle): WordPicture;
}

/** Pixels to a point: 360 to an inch, as fine as printers draw. */
const PIXELS_PER_POINT = 5;

/** Pictures of words by the browser's canvas, which knows all letters that the browser can show. */
export function wordPicturesByCanvas(): WordPictures {
  const canvas = document.createElement('canvas');
  const pen = canvas.getContext('2d');
  if (!pen) throw new Error('this browser has no canvas to draw on');
  const measure = (words: string, { sizePt, bold }: TextStyle): TextMetrics => {
    pen.font = `${bold ? 'bold ' : ''}${sizePt * PIXELS_PER_POINT}px Helvetica, Arial, sans-serif`;
    return pen.measureText(words);
  };
  return {
    widthPt: (words, style) => measure(words, style).width / PIXELS_PER_POINT,
    draw(words, style) {
      const { width, fontBoundingBoxAscent, fontBoundingBoxDescent } = measure(words, style);
      const below = Math.ceil(fontBoundingBoxDescent);
      const above = Math.ceil(fontBoundingBoxAscent);
      canvas.width = Math.max(1, Math.ceil(width)); // which also clears it and forgets the font
      canvas.height = above + below;
      measure(words, style);
      pen.fillText(words, 0, above);
      const base64 = canvas.toDataURL('image/png').split(',')[1] ?? '';
      return {
        png: Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0)),
        widthPt: canvas.width / PIXELS_PER_POINT,
        heightPt: canvas.height / PIXELS_PER_POINT,
        belowPt: below / PIXELS_PER_POINT,
      };
    },
  };
}
