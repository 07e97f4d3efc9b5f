import type { ColourYarn } from '../../calc/index.ts';
import type { Format } from '../lib/format.ts';
import { hasText, text } from '../lib/text.ts';

/** "Slate: with 3 skeins the chance of running out is 3%; about 40 g stay over. With 2 it is over 99%." */
export function runningOutSentence(each: ColourYarn, format: Format): string {
  if (!each.skeins) return text('yarn.noSkein', { name: each.name });
  const { chances, forSafety95, leftoverGrams } = each.skeins;
  const chanceAt = (skeins: number) => chances.find((one) => one.skeins === skeins)?.chanceOfRunningOut;
  const safe = chanceAt(forSafety95) ?? 0;
  const fewer = chanceAt(forSafety95 - 1);
  const buy = text('yarn.enough', {
    name: each.name,
    n: forSafety95,
    chance: oftenOf(safe, format),
    left: format.grams(leftoverGrams.value),
  });
  return fewer === undefined
    ? buy
    : `${buy} ${text('yarn.fewer', { n: forSafety95 - 1, chance: oftenOf(fewer, format) })}`;
}

/** A chance as a share, without pretending to know rare ones exactly. */
export function oftenOf(chance: number, format: Format): string {
  if (chance < 0.01) return text('chance.rare');
  if (chance > 0.99) return text('chance.sure');
  return format.percent(chance);
}

/** What the yarn was worked out from. */
export function basisSentence(colours: ColourYarn[], format: Format): string {
  const basis = colours[0]?.basis ?? [];
  const parts = basis.map((one) => {
    const key = `basis.${one.kind}`;
    const name = hasText(key) ? text(key) : one.kind;
    return basis.length > 1 ? `${name} (${format.percent(one.weight)})` : name;
  });
  return text('yarn.basis', { what: new Intl.ListFormat().format(parts) });
}
