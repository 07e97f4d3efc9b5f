/**
 * The stitch library: the one place to add a stitch.
 *
 * To add one: add its key to `STITCH_KEYS` (and to the reader's list, if the reader knows it) and an
 * entry to `STITCHES`. Everything else — counts, sentences, border, yarn — follows from the entry.
 */

/** Keys of the listed stitches; crochet keys are US abbreviations. */
export const STITCH_KEYS = [
  'sc',
  'hdc',
  'herringbone-hdc',
  'dc',
  'post-rib',
  'moss',
  'blo-rib',
  'stockinette',
  'reverse-stockinette',
  'garter',
  'rib-1x1',
  'rib-2x2',
  'seed',
] as const;
export type StitchKey = (typeof STITCH_KEYS)[number];

export type Craft = 'crochet' | 'knit';
export type Parity = 'any' | 'odd' | 'even';

/** "Multiple of m, plus c": count = m × k + plus, k under parity. */
export interface Multiple {
  m: number;
  plus: number;
  parity: Parity;
}

export interface Stitch {
  key: string;
  craft: Craft;
  names: { us: string; uk: string };
  abbreviations: { us: string; uk: string };
  /** Foundation chains passed over before the first stitch (0 in knitting). */
  chainsSkipped: number;
  /** Whether those skipped chains stand for the first stitch of row 1. */
  skippedChainsCount: boolean;
  /** Chains made when turning, and whether they stand for the first stitch of the row. */
  turningChain: number;
  turningChainCounts: boolean;
  /** Rows after which the fabric looks the same again. */
  rowsPerRepeat: number;
  /** Of the foundation chain (edge stitches and skipped chains in `plus`), or of the cast-on. */
  multiple: Multiple;
  /** Height of a row ÷ width of a stitch, usual range. */
  heightToWidth: { low: number; typical: number; high: number };
  /** Yarn in one stitch ÷ yarn in one foundation chain of the same yarn and hook. */
  yarnInChains: number;
  /** Yarn per area ÷ that of plain fabric of the same yarn and hook. */
  yarnPerAreaFactor: number;
  /** Row 1 and what follows it, in words, where it is not one stitch into each chain. */
  rowOne?: { us: string; uk: string };
}

const plain = (plus: number): Multiple => ({ m: 1, plus, parity: 'any' });

/*
 * Chains skipped and turning chains: common practice. Height-to-width ranges: common practice, from
 * usual gauges (hdc: 3 dc measure about as wide as 2 hdc rows are high, so 1.5; stockinette: Munden's
 * Kw ÷ Kc = 3.8 ÷ 5.0 = 0.76, J. Textile Inst. 50, 1959). Yarn in chains: single-row strips of sc, hdc
 * and dc use 10.6, 15.7 and 20.4 in of yarn per in, the foundation chain 4.8 of them ("Crochet Yarn
 * Estimating", windchilde.com), so (10.6 − 4.8) ÷ 4.8 = 1.21, 2.27 and 3.25; the others follow from
 * the stitches they are made of. Yarn per area: 31.42, 32.08 and 31.6 in per in² for sc, hdc and dc
 * (same source), so 1 for all three; textured and ribbed fabrics are denser, common practice.
 */
export const STITCHES: Record<StitchKey, Stitch> = {
  sc: {
    key: 'sc',
    craft: 'crochet',
    names: { us: 'single crochet', uk: 'double crochet' },
    abbreviations: { us: 'sc', uk: 'dc' },
    chainsSkipped: 1,
    skippedChainsCount: false,
    turningChain: 1,
    turningChainCounts: false,
    rowsPerRepeat: 1,
    multiple: plain(1),
    heightToWidth: { low: 0.78, typical: 0.9, high: 1.05 },
    yarnInChains: 1.21,
    yarnPerAreaFactor: 1,
  },
  hdc: {
    key: 'hdc',
    craft: 'crochet',
    names: { us: 'half double crochet', uk: 'half treble' },
    abbreviations: { us: 'hdc', uk: 'htr' },
    chainsSkipped: 2,
    skippedChainsCount: false,
    turningChain: 2,
    turningChainCounts: false,
    rowsPerRepeat: 1,
    multiple: plain(2),
    heightToWidth: { low: 1.3, typical: 1.5, high: 1.7 },
    yarnInChains: 2.27,
    yarnPerAreaFactor: 1,
  },
  'herringbone-hdc': {
    key: 'herringbone-hdc',
    craft: 'crochet',
    names: { us: 'herringbone half double crochet', uk: 'herringbone half treble' },
    abbreviations: { us: 'hhdc', uk: 'hhtr' },
    chainsSkipped: 2,
    skippedChainsCount: false,
    turningChain: 2,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: plain(2),
    heightToWidth: { low: 1.2, typical: 1.45, high: 1.65 },
    yarnInChains: 2.27,
    yarnPerAreaFactor: 1,
  },
  dc: {
    key: 'dc',
    craft: 'crochet',
    names: { us: 'double crochet', uk: 'treble' },
    abbreviations: { us: 'dc', uk: 'tr' },
    chainsSkipped: 3,
    skippedChainsCount: true,
    turningChain: 3,
    turningChainCounts: true,
    rowsPerRepeat: 1,
    multiple: plain(2),
    heightToWidth: { low: 1.7, typical: 1.95, high: 2.2 },
    yarnInChains: 3.25,
    yarnPerAreaFactor: 1,
  },
  'post-rib': {
    key: 'post-rib',
    craft: 'crochet',
    names: {
      us: 'front- and back-post double crochet rib',
      uk: 'raised treble rib (front and back)',
    },
    abbreviations: { us: 'FPdc/BPdc', uk: 'RtrF/RtrB' },
    chainsSkipped: 3,
    skippedChainsCount: true,
    turningChain: 3,
    turningChainCounts: true,
    rowsPerRepeat: 2,
    multiple: { m: 2, plus: 2, parity: 'any' },
    heightToWidth: { low: 1.4, typical: 1.7, high: 2.1 },
    yarnInChains: 3.5,
    yarnPerAreaFactor: 1.25,
    rowOne: {
      us: 'double crochet into the 4th chain from the hook (the 3 skipped chains stand for the first stitch) and into each chain to the end; from row 2 on, work one front-post and one back-post double crochet in turn, ridge over ridge',
      uk: 'treble into the 4th chain from the hook (the 3 missed chains stand for the first stitch) and into each chain to the end; from row 2 on, work one raised treble front and one raised treble back in turn, ridge over ridge',
    },
  },
  moss: {
    key: 'moss',
    craft: 'crochet',
    names: { us: 'crochet moss stitch (sc, ch 1)', uk: 'crochet moss stitch (dc, ch 1)' },
    abbreviations: { us: 'moss', uk: 'moss' },
    chainsSkipped: 3,
    skippedChainsCount: true,
    turningChain: 2,
    turningChainCounts: true,
    rowsPerRepeat: 2,
    multiple: { m: 2, plus: 0, parity: 'any' },
    heightToWidth: { low: 0.75, typical: 0.9, high: 1.05 },
    yarnInChains: 1.1,
    yarnPerAreaFactor: 0.95,
    rowOne: {
      us: 'single crochet into the 4th chain from the hook (the skipped chains stand for the first chain space), then chain 1, skip 1 chain, single crochet into the next, to the end; from row 2 on, single crochet into each chain space with chain 1 between, the last into the space of the turning chain',
      uk: 'double crochet into the 4th chain from the hook (the missed chains stand for the first chain space), then chain 1, miss 1 chain, double crochet into the next, to the end; from row 2 on, double crochet into each chain space with chain 1 between, the last into the space of the turning chain',
    },
  },
  'blo-rib': {
    key: 'blo-rib',
    craft: 'crochet',
    names: { us: 'single crochet through the back loop', uk: 'double crochet through the back loop' },
    abbreviations: { us: 'sc blo', uk: 'dc blo' },
    chainsSkipped: 1,
    skippedChainsCount: false,
    turningChain: 1,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: plain(1),
    heightToWidth: { low: 0.8, typical: 0.95, high: 1.2 },
    yarnInChains: 1.21,
    yarnPerAreaFactor: 1.05,
  },
  stockinette: {
    key: 'stockinette',
    craft: 'knit',
    names: { us: 'stockinette stitch', uk: 'stocking stitch' },
    abbreviations: { us: 'St st', uk: 'st st' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: plain(0),
    heightToWidth: { low: 0.65, typical: 0.75, high: 0.85 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1,
  },
  'reverse-stockinette': {
    key: 'reverse-stockinette',
    craft: 'knit',
    names: { us: 'reverse stockinette stitch', uk: 'reverse stocking stitch' },
    abbreviations: { us: 'rev St st', uk: 'rev st st' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: plain(0),
    heightToWidth: { low: 0.65, typical: 0.75, high: 0.85 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1,
  },
  garter: {
    key: 'garter',
    craft: 'knit',
    names: { us: 'garter stitch', uk: 'garter stitch' },
    abbreviations: { us: 'g st', uk: 'g st' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: plain(0),
    heightToWidth: { low: 0.44, typical: 0.5, high: 0.58 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1.3,
  },
  'rib-1x1': {
    key: 'rib-1x1',
    craft: 'knit',
    names: { us: '1×1 rib', uk: '1×1 rib' },
    abbreviations: { us: 'k1, p1', uk: 'k1, p1' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: { m: 2, plus: 0, parity: 'any' },
    heightToWidth: { low: 0.7, typical: 0.95, high: 1.4 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1.3,
  },
  'rib-2x2': {
    key: 'rib-2x2',
    craft: 'knit',
    names: { us: '2×2 rib', uk: '2×2 rib' },
    abbreviations: { us: 'k2, p2', uk: 'k2, p2' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: { m: 4, plus: 2, parity: 'any' },
    heightToWidth: { low: 0.7, typical: 1, high: 1.5 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1.3,
  },
  seed: {
    key: 'seed',
    craft: 'knit',
    names: { us: 'seed stitch', uk: 'moss stitch' },
    abbreviations: { us: 'seed st', uk: 'moss st' },
    chainsSkipped: 0,
    skippedChainsCount: false,
    turningChain: 0,
    turningChainCounts: false,
    rowsPerRepeat: 2,
    multiple: { m: 2, plus: 1, parity: 'any' },
    heightToWidth: { low: 0.5, typical: 0.6, high: 0.7 },
    yarnInChains: 1,
    yarnPerAreaFactor: 1.15,
  },
};

export function isStitchKey(key: string): key is StitchKey {
  return (STITCH_KEYS as readonly string[]).includes(key);
}
