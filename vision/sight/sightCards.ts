import type { Point, RgbImage } from '../types.ts';
import { centroid, contains, distance, type Quad } from '../scale/geometry.ts';
import { shrink } from '../shrink.ts';
import { mapToPhoto } from './mapPlaces.ts';
import { outlineQuads, type OutlineQuad } from './outlineQuads.ts';
import { shrinkWhole } from './shrinkWhole.ts';
import { sightPicture, type SightMaps } from './sightPicture.ts';

/** Something that looks like a card, before its edges are measured. */
export interface SightedCard {
  /** Clockwise, px of the photo; off by about 1 % of its long side. */
  quad: Quad;
  /** Mean probability, 0…1, that what lies within shows a card. */
  cardness: number;
  /** Part of the outline that is straight, 0…1. */
  straightness: number;
}

/** What the trained network sees in a whole photo. */
export interface Sight {
  maps: SightMaps;
  /** px of the picture that the maps are of ÷ px of the photo. */
  scale: number;
  /** Largest first. */
  cards: SightedCard[];
}

/** Longer side of the picture that the whole photo is looked at in, px. */
const WHOLE_SIDE_PX = 384;
/** The second, closer look: a card this long in a picture of this size. */
const CLOSE_LONG_PX = 190;
const CLOSE_SIDE_PX = 288;
const LEAST_AREA_PX = 20;
const MOST_CLOSE_LOOKS = 3;

/**
 * Looks at the whole photo small, and again closer at each thing in it that may be a card.
 *
 * @example
 * const sight = await sightThings(photo.rgb);
 * sight.cards[0]?.quad; // roughly where the card lies
 */
export async function sightThings(rgb: RgbImage): Promise<Sight> {
  const { maps, scale } = await sightWhole(rgb);
  const cards: SightedCard[] = [];
  for (const { quad } of cardQuads(maps).slice(0, MOST_CLOSE_LOOKS)) {
    const card = await lookCloser(rgb, quad.map((p) => mapToPhoto(p, scale)) as Quad);
    if (card) cards.push(card);
  }
  return { maps, scale, cards };
}

/** Looks at the whole photo small, and no closer. */
export async function sightWhole(rgb: RgbImage): Promise<Pick<Sight, 'maps' | 'scale'>> {
  const { rgb: small, scale } = await shrinkWhole(rgb, WHOLE_SIDE_PX);
  return { maps: await sightPicture(small), scale };
}

const cardQuads = (maps: SightMaps): OutlineQuad[] =>
  outlineQuads({ widthPx: maps.widthPx, heightPx: maps.heightPx, data: maps.withinCard }, LEAST_AREA_PX);

async function lookCloser(rgb: RgbImage, seen: Quad): Promise<SightedCard | null> {
  const middle = centroid(seen);
  const longPx = Math.max(distance(seen[0], seen[1]), distance(seen[1], seen[2]));
  const half = (0.5 * CLOSE_SIDE_PX * longPx) / CLOSE_LONG_PX;
  const part = cut(rgb, middle, half);
  const { rgb: close, scale } = shrink(
    part.rgb,
    Math.round((CLOSE_LONG_PX / longPx) * Math.max(part.rgb.widthPx, part.rgb.heightPx)),
  );
  const maps = await sightPicture(close);
  const inPart = (p: Point): Point => {
    const q = mapToPhoto(p, scale);
    return { x: q.x + part.left, y: q.y + part.top };
  };
  for (const found of cardQuads(maps)) {
    const quad = found.quad.map(inPart) as Quad;
    if (contains(quad, middle))
      return { quad, cardness: meanWithin(maps, found.quad), straightness: found.straightness };
  }
  return null;
}

/** A square part of a picture, as far as it lies within. */
function cut(rgb: RgbImage, middle: Point, half: number): { rgb: RgbImage; left: number; top: number } {
  const left = Math.max(0, Math.round(middle.x - half));
  const top = Math.max(0, Math.round(middle.y - half));
  const right = Math.min(rgb.widthPx, Math.round(middle.x + half));
  const bottom = Math.min(rgb.heightPx, Math.round(middle.y + half));
  const widthPx = right - left;
  const heightPx = bottom - top;
  const data = new Uint8Array(3 * widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    const from = 3 * ((y + top) * rgb.widthPx + left);
    data.set(rgb.data.subarray(from, from + 3 * widthPx), 3 * y * widthPx);
  }
  return { rgb: { widthPx, heightPx, data }, left, top };
}

function meanWithin(maps: SightMaps, quad: Quad): number {
  let sum = 0;
  let count = 0;
  for (let y = 0; y < maps.heightPx; y++) {
    for (let x = 0; x < maps.widthPx; x++) {
      if (!contains(quad, { x, y })) continue;
      sum += maps.shows.card[y * maps.widthPx + x]!;
      count++;
    }
  }
  return count > 0 ? sum / count : 0;
}
