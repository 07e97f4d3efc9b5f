/**
 * A small drawing of rulers and tapes of true size, seen by a pinhole camera, for the tests of tick
 * reading. Plain on purpose: the truth is the geometry drawn here.
 */
import type { DecodedPhoto } from '../../vision/types.ts';

export type DrawnScale = 'metric' | '5-mm' | 'inch-16' | 'inch-8' | 'half-metric-wrong' | 'even' | 'none';

export interface RulerDrawing {
  widthPx: number;
  heightPx: number;
  /** Pixels per mm at the picture's centre. */
  pxPerMm: number;
  /** Ruler axis against the picture's x axis, degrees. */
  rotationDeg: number;
  tiltDeg: number;
  /** Direction of the tilt in the picture, degrees. */
  tiltTowardsDeg: number;
  /** 35 mm-equivalent focal length. */
  focal35mm: number;
  edges: [DrawnScale, DrawnScale];
  lengthMm: number;
  bodyWidthMm: number;
  /** Radius of the curve the tape lies in; Infinity for a ruler. */
  radiusMm: number;
  /** Shift of the ruler's middle from the picture's centre, mm. */
  offsetMm: { x: number; y: number };
  body: number;
  ink: number;
  table: number;
  tableGrain: number;
  blurPx: number;
  noise: number;
  numerals: boolean;
  /** Numbers stand on both sides of the end of their tick instead of below it. */
  numeralsBeside: boolean;
  /** Length of ticks by level, mm: shortest first. */
  seed: number;
  background: 'grain' | 'stripes' | 'knit' | 'gingham';
}

export const plainRuler: RulerDrawing = {
  widthPx: 1600,
  heightPx: 1200,
  pxPerMm: 5,
  rotationDeg: 8,
  tiltDeg: 0,
  tiltTowardsDeg: 90,
  focal35mm: 26,
  edges: ['metric', 'none'],
  lengthMm: 200,
  bodyWidthMm: 30,
  radiusMm: Infinity,
  offsetMm: { x: 0, y: 40 },
  body: 0.8,
  ink: 0.15,
  table: 0.45,
  tableGrain: 0.08,
  blurPx: 0.6,
  noise: 0.01,
  numerals: true,
  numeralsBeside: false,
  seed: 1,
  background: 'grain',
};

const FONT = [
  '111101101101111',
  '010110010010111',
  '111001111100111',
  '111001111001111',
  '101101111001001',
  '111100111001111',
  '111100111101111',
  '111001010010010',
  '111101111101111',
  '111101111001111',
];

/** Deterministic noise in 0…1 of two whole numbers. */
const hash = (x: number, y: number, seed: number): number => {
  let h = (Math.imul(x | 0, 374761393) + Math.imul(y | 0, 668265263) + Math.imul(seed | 0, 974634777)) | 0;
  h = Math.imul(h ^ (h >>> 13), 1274126177);
  return ((h ^ (h >>> 16)) >>> 0) / 4294967296;
};
const valueNoise = (x: number, y: number, seed: number): number => {
  const ix = Math.floor(x),
    iy = Math.floor(y);
  const fx = x - ix,
    fy = y - iy;
  const a = hash(ix, iy, seed) * (1 - fx) + hash(ix + 1, iy, seed) * fx;
  const b = hash(ix, iy + 1, seed) * (1 - fx) + hash(ix + 1, iy + 1, seed) * fx;
  return a * (1 - fy) + b * fy;
};

/** Tick length, mm, of tick `k`; 0 when there is none. */
const tickLength = (scale: DrawnScale, k: number): number => {
  const m = ((k % 80) + 80) % 80;
  if (scale === 'metric') return m % 10 === 0 ? 6.5 : m % 5 === 0 ? 5 : 3.5;
  if (scale === 'even') return 4;
  if (scale === '5-mm') return m % 2 === 0 ? 6.5 : 4;
  if (scale === 'half-metric-wrong') return m % 6 === 0 ? 6.5 : m % 3 === 0 ? 5 : 3.5;
  if (scale === 'inch-16')
    return m % 16 === 0 ? 9 : m % 8 === 0 ? 7.5 : m % 4 === 0 ? 6 : m % 2 === 0 ? 4.5 : 3;
  if (scale === 'inch-8') return m % 8 === 0 ? 9 : m % 4 === 0 ? 7 : m % 2 === 0 ? 5 : 3.2;
  return 0;
};
const tickPitch = (scale: DrawnScale): number =>
  scale === 'inch-16'
    ? 25.4 / 16
    : scale === 'inch-8'
      ? 25.4 / 8
      : scale === '5-mm'
        ? 5
        : scale === 'none'
          ? 0
          : 1;
const majorEvery = (scale: DrawnScale): number =>
  scale === 'inch-16' ? 16 : scale === 'inch-8' ? 8 : scale === '5-mm' ? 2 : 10;

export interface DrawnPhoto {
  photo: DecodedPhoto;
  /** mm per pixel (geometric mean of both axes) at a pixel. */
  mmPerPxAt(x: number, y: number): number;
  /** Pixel → mm on the table. */
  toMm(x: number, y: number): { x: number; y: number };
}

export function drawRuler(options: Partial<RulerDrawing>): DrawnPhoto {
  const o = { ...plainRuler, ...options };
  const f = (o.focal35mm / 43.267) * Math.hypot(o.widthPx, o.heightPx);
  const distance = f / o.pxPerMm;
  const tilt = (o.tiltDeg * Math.PI) / 180;
  const towards = (o.tiltTowardsDeg * Math.PI) / 180;
  // normal of the table in camera coordinates; the table's point on the axis is at `distance`
  const n = [Math.sin(tilt) * Math.cos(towards), Math.sin(tilt) * Math.sin(towards), Math.cos(tilt)] as const;
  // two directions in the table
  const c = Math.cos(tilt);
  const ct = Math.cos(towards),
    st = Math.sin(towards);
  const e1 = [ct * c, st * c, -Math.sin(tilt)] as const;
  const e2 = [-st, ct, 0] as const;
  const rot = (o.rotationDeg * Math.PI) / 180;
  const toMm = (x: number, y: number): { x: number; y: number } => {
    const dx = (x - (o.widthPx - 1) / 2) / f;
    const dy = (y - (o.heightPx - 1) / 2) / f;
    const t = (distance * n[2]) / (dx * n[0] + dy * n[1] + n[2]);
    const p = [dx * t, dy * t, t - distance] as const;
    const a = p[0] * e1[0] + p[1] * e1[1] + p[2] * e1[2];
    const b = p[0] * e2[0] + p[1] * e2[1] + p[2] * e2[2];
    // back to axes that look like the picture's at no tilt
    return { x: a * ct - b * st, y: a * st + b * ct };
  };
  const cr = Math.cos(rot),
    sr = Math.sin(rot);
  const tickHalf = 0.11;
  const scaleInk = (scale: DrawnScale, along: number, depth: number): boolean => {
    const pitch = tickPitch(scale);
    if (pitch === 0) return false;
    const s = along + o.lengthMm / 2 - 3;
    if (s < -0.5 || s > o.lengthMm - 6 + 0.5) return false;
    const k = Math.round(s / pitch);
    if (Math.abs(s - k * pitch) < tickHalf && depth > 0.3 && depth < 0.3 + tickLength(scale, k)) return true;
    const top = (scale === 'metric' ? 8 : 10.8) - (o.numeralsBeside ? 4.2 : 0);
    if (o.numerals && depth > top && depth < top + 3.5) {
      const every = majorEvery(scale);
      const num = Math.round(s / pitch / every);
      const text = String(num);
      const cell = 0.6;
      const w = text.length * 4 * cell;
      const away = s - num * every * pitch;
      const px = (o.numeralsBeside ? Math.abs(away) - 1.6 : away) + w / 2;
      const i = Math.floor(px / (4 * cell));
      if (i >= 0 && i < text.length) {
        const col = Math.floor((px - i * 4 * cell) / cell);
        const row = Math.floor((top + 3.5 - depth) / 0.7);
        const glyph = FONT[Number(text[i])];
        if (col < 3 && row >= 0 && row < 5 && glyph && glyph[row * 3 + col] === '1') return true;
      }
    }
    return false;
  };
  const reflect = (mx: number, my: number): number => {
    const x = mx - o.offsetMm.x;
    const y = my - o.offsetMm.y;
    let along = x * cr + y * sr;
    let across = -x * sr + y * cr;
    if (Number.isFinite(o.radiusMm)) {
      const r = Math.hypot(along, across + o.radiusMm);
      const angle = Math.atan2(along, across + o.radiusMm);
      along = angle * o.radiusMm;
      across = r - o.radiusMm;
    }
    const half = o.bodyWidthMm / 2;
    if (Math.abs(along) < o.lengthMm / 2 && Math.abs(across) < half) {
      if (scaleInk(o.edges[0], along, across + half)) return o.ink;
      if (scaleInk(o.edges[1], along, half - across)) return o.ink;
      return o.body;
    }
    if (o.background === 'stripes') return o.table + (Math.floor(mx / 2) % 2 === 0 ? 0.2 : -0.1);
    if (o.background === 'gingham')
      return o.table + 0.15 * ((Math.floor(mx / 5) & 1) + (Math.floor(my / 5) & 1)) - 0.15;
    if (o.background === 'knit') {
      const u = (mx / 4.2) % 1;
      const v = my / 3 + Math.abs(u < 0 ? u + 0.5 : u - 0.5) * 1.6;
      return o.table + 0.2 * Math.cos(2 * Math.PI * v) * Math.abs(Math.sin(2 * Math.PI * u));
    }
    return (
      o.table +
      o.tableGrain * (valueNoise(mx * 0.3, my * 3, o.seed) - 0.5) +
      o.tableGrain * (valueNoise(mx * 1.7, my * 1.7, o.seed + 1) - 0.5)
    );
  };
  const { widthPx, heightPx } = o;
  const sharp = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      let sum = 0;
      for (let j = 0; j < 2; j++)
        for (let i = 0; i < 3; i++) {
          const p = toMm(x - 1 / 3 + i / 3, y - 0.25 + j / 2);
          sum += reflect(p.x, p.y);
        }
      sharp[y * widthPx + x] = sum / 6;
    }
  const blurred = blur(sharp, widthPx, heightPx, o.blurPx);
  const data = new Uint8Array(widthPx * heightPx * 3);
  const gray = new Float32Array(widthPx * heightPx);
  for (let i = 0; i < gray.length; i++) {
    const g =
      (hash(i, 1, o.seed) + hash(i, 2, o.seed) + hash(i, 3, o.seed) + hash(i, 4, o.seed) - 2) * Math.sqrt(3);
    const v = Math.min(1, Math.max(0, blurred[i]! + o.noise * g));
    const byte = Math.round(v * 255);
    gray[i] = byte / 255;
    data[3 * i] = data[3 * i + 1] = data[3 * i + 2] = byte;
  }
  const mmPerPxAt = (x: number, y: number): number => {
    const a = toMm(x - 0.5, y),
      b = toMm(x + 0.5, y),
      d = toMm(x, y - 0.5),
      e = toMm(x, y + 0.5);
    return Math.sqrt(Math.abs((b.x - a.x) * (e.y - d.y) - (b.y - a.y) * (e.x - d.x)));
  };
  return {
    photo: {
      rgb: { widthPx, heightPx, data },
      gray: { widthPx, heightPx, data: gray },
      originalWidthPx: widthPx,
      originalHeightPx: heightPx,
      decodeScale: 1,
      focalLength35mm: null,
    },
    mmPerPxAt,
    toMm,
  };
}

function blur(source: Float32Array, w: number, h: number, sigma: number): Float32Array {
  if (sigma <= 0) return source;
  const r = Math.ceil(3 * sigma);
  const k = Array.from({ length: 2 * r + 1 }, (_, i) => Math.exp(-((i - r) ** 2) / (2 * sigma * sigma)));
  const total = k.reduce((a, b) => a + b, 0);
  const pass = (src: Float32Array, dx: number, dy: number): Float32Array => {
    const out = new Float32Array(src.length);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        let s = 0;
        for (let i = -r; i <= r; i++) {
          const xx = Math.min(w - 1, Math.max(0, x + i * dx));
          const yy = Math.min(h - 1, Math.max(0, y + i * dy));
          s += k[i + r]! * src[yy * w + xx]!;
        }
        out[y * w + x] = s / total;
      }
    return out;
  };
  return pass(pass(source, 1, 0), 0, 1);
}
