import { useSyncExternalStore } from 'react';

/** Where the page is. Kept in the address's fragment, so a reload or a bookmark comes back to it. */
export type Route =
  | { screen: 'start' }
  | { screen: 'pieces' }
  | { screen: 'piece'; pieceId: string; part: PiecePart }
  | { screen: 'photo-help' }
  | { screen: 'pair'; code: string };

export const PIECE_PARTS = ['swatch', 'plan', 'yarn', 'checks'] as const;
export type PiecePart = (typeof PIECE_PARTS)[number];

/** Reads a fragment such as `#/pieces/abc/yarn`; anything unknown is the start. */
export function parseRoute(hash: string): Route {
  const [first, second, third] = hash.replace(/^#\/?/, '').split('/').map(decodeURIComponent);
  if (first === 'pieces' && second) {
    const part = PIECE_PARTS.find((known) => known === third) ?? 'swatch';
    return { screen: 'piece', pieceId: second, part };
  }
  if (first === 'pair' && second) return { screen: 'pair', code: second };
  if (first === 'pieces') return { screen: 'pieces' };
  if (first === 'photo-help') return { screen: 'photo-help' };
  return { screen: 'start' };
}

/** The fragment that leads to a route. */
export function hrefOf(route: Route): string {
  switch (route.screen) {
    case 'start':
      return '#/';
    case 'piece':
      return `#/pieces/${encodeURIComponent(route.pieceId)}/${route.part}`;
    case 'pair':
      return `#/pair/${encodeURIComponent(route.code)}`;
    default:
      return `#/${route.screen}`;
  }
}

export function goTo(route: Route): void {
  location.hash = hrefOf(route);
}

const subscribe = (onChange: () => void) => {
  addEventListener('hashchange', onChange);
  return () => removeEventListener('hashchange', onChange);
};

export function useRoute(): Route {
  const hash = useSyncExternalStore(subscribe, () => location.hash);
  return parseRoute(hash);
}
