import { rgb, type RGB } from 'pdf-lib';

/**
 * A colour as the PDF writes it; anything but `#rrggbb` is a middle grey.
 *
 * @example
 * hexColour('#ff8000'); // rgb(1, 0.5, 0)
 */
export function hexColour(hex: string): RGB {
  const value = /^#[0-9a-f]{6}$/i.test(hex) ? Number.parseInt(hex.slice(1), 16) : 0x888888;
  return rgb((value >> 16) / 255, ((value >> 8) & 255) / 255, (value & 255) / 255);
}
