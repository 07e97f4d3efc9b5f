import { SIZE_PRESETS } from '../../calc/index.ts';
import { hasText, text } from '../lib/text.ts';
import type { NamedSize } from './size-fields.tsx';

/** Sizes to start from: calc's dimensions under the catalogue's names. */
export const NAMED_SIZES: NamedSize[] = SIZE_PRESETS.map((preset) => {
  const key = `sizeName.${preset.key}`;
  return { ...preset, name: hasText(key) ? text(key) : preset.name };
});
