import aruco from 'js-aruco2';
import { Matrix, solve } from 'ml-matrix';
import { median } from 'simple-statistics';
import { cv, rgbToGrayMat, withMats, type Mat, type MatVector } from '../cv.ts';
import type { Advice, DecodedPhoto, Point, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import { cornersOf, fitSides, type EdgePoint } from './edgeFit.ts';
import {
  applyHomography,
  distance,
  inverted,
  isConvex,
  signedArea,
  unitSquareTo,
  type Quad,
} from './geometry.ts';
import { fiducialsTogether, type SeenFiducial } from './fiducialsTogether.ts';
import { homographyFrom } from './homographyFrom.ts';
import { distort, undistort } from './lens.ts';
import { fitPose, type Belief, type MmLine, type PoseFit } from './poseFit.ts';
import { colourAt } from './roundness.ts';
import { poseVariations } from './poseVariations.ts';
import { scaleFromPose } from './scaleFromPose.ts';
import { assumedHeight, BELOW_TOPS_MM } from './workHeight.ts';
import { FIDUCIAL_MM, sheetLayout, SHEET_PAGES, type SheetLayout } from './sheetLayout.ts';
import { smallSquares } from './smallSquares.ts';
import { squareRings } from './squareRings.ts';

export interface FindSheetOptions {
  /** Height of the plane of the work above the page, mm. */
  workHeightMm: Belief;
  /** What the maker measured along the 100 mm check line, mm. */
  checkLineMm?: number;
  /** Outlines of what may be paper, decoded px; asked for only where hardly a code could be read. */
  papers?: () => readonly Quad[];
}

/**
 * Longest side of the picture in which dark squares are looked for, and the neighbourhood whose mean they are
 * darker than, px: small squares, then large ones and those in uneven light.
 */
const SQUARE_SEARCHES = [
  { searchPx: 1800, block: 21 },
  { searchPx: 900, block: 31 },
] as const;
/** A code may have this many wrong cells; the dictionary's codes differ in at least 12. */
const MAX_WRONG_CELLS = 3;
/** So many codes read place the sheet well; with fewer, all of them are looked for together. */
const ENOUGH_CODES = 6;
/** So many spots are a pattern; among them a ring is looked for only where paper is seen. */
const MOST_SPOTS = 400;
/** A home printer at "100 %" is true to about this, relatively (common practice). */
const PRINTER_SD = 0.001;
/** Reading a ruler along the check line, mm. */
const CHECK_READING_SD_MM = 0.2;
/**
 * What the points of one side of a fiducial share, px: sharpening, compression and the cells next to it move a
 * whole side. On development photos without it, 0.1 px of this passed for lens distortion, and lengths far
 * from the sheet were wrong by 1–2 %.
 */
const SIDE_SHARED_PX = 0.05;
/**
 * Focal length, distance and lens of a far sheet go together in a long bent valley, along which a fit that begins with the
 * usual lens and ends with a long one takes 130 steps. Stopped after 30, lengths far from the sheet were wrong by 1.3 %.
 */
const MOST_STEPS = 250;
/** Rounds of fit and growth (see `grownBy`); the two hardly depend on each other. */
const GROWTH_ROUNDS = 2;
/** What a fit takes from the sides: the pose, focal length, lens and growth. */
const FITTED = 11;

/**
 * Finds the printed measuring sheet by its fiducials, one being enough; where hardly one can be read, by all of them
 * together, in a ring of dark squares or on what is seen to be paper.
 *
 * All sides of all fiducials go into one fit of camera, plane and lens distortion, so that hidden and
 * misread ones do not matter.
 *
 * @returns the scale, or null when no fiducial is seen
 */
export function findSheet(photo: DecodedPhoto, options: FindSheetOptions): Scale | null {
  const squares = darkSquares(photo);
  let seen = readCodes(photo, squares);
  if (seen.length < ENOUGH_CODES) {
    const together = seenTogether(photo, squares, options.papers ?? (() => []));
    if (together.length > seen.length) seen = together;
  }
  const page = SHEET_PAGES.map((name) => seen.filter((s) => s.layout.page === name)).sort(
    (p, q) => q.length - p.length,
  )[0]!;
  if (page.length === 0) return null;
  const { layout } = page[0]!;

  const lines: MmLine[] = [];
  const edges: EdgePoint[] = [];
  const used: SeenFiducial[] = [];
  for (const s of page) {
    const side = distance(s.corners[0], s.corners[2]) / Math.SQRT2;
    const first = fitSides(photo.rgb, s.corners, null, {
      searchPx: Math.max(2.5, 0.06 * side),
      insetShare: 0.08,
    });
    const again = first && cornersOf(first, s.corners);
    const sides = again && fitSides(photo.rgb, again, null, { searchPx: 2, insetShare: 0.06 });
    if (!sides) continue;
    const offset = lines.length;
    s.fiducial.cornersMm.forEach((a, i) => lines.push(lineOf(a, s.fiducial.cornersMm[(i + 1) % 4]!)));
    for (const fitted of sides) {
      const shared = SIDE_SHARED_PX * Math.sqrt(fitted!.points.length);
      for (const point of fitted!.points) {
        // Print is sharp, but ink spreads evenly by up to a tenth of a millimetre: the floor stands for it.
        const sigmaPx = Math.hypot(Math.max(point.sigmaPx, 0.1), shared);
        edges.push({ ...point, side: offset + point.side, sigmaPx });
      }
    }
    used.push({ ...s, corners: cornersOf(sides, s.corners) ?? s.corners });
  }
  if (used.length === 0) return null;

  const start = homographyFrom(
    used.flatMap((s) => s.fiducial.cornersMm.map((mm, i) => ({ mm, px: s.corners[i]! }))),
  );
  const checked = options.checkLineMm !== undefined;
  const fit = (points: readonly EdgePoint[], workHeightMm: Belief): PoseFit | null => {
    let pose: PoseFit | null = null;
    let best = Infinity;
    for (const logFocal of focalHypotheses(photo)) {
      const fitted = fitPose({
        size: photo.rgb,
        lines,
        start,
        edges: points,
        logFocal,
        k1: K1_BELIEF,
        workHeightMm,
        mostSteps: MOST_STEPS,
        sizeSd: checked ? CHECK_READING_SD_MM / layout.checkLine.lengthMm : PRINTER_SD,
        sizeFactor: checked ? options.checkLineMm! / layout.checkLine.lengthMm : 1,
      });
      if (fitted && fitted.chiSquare + logFocal.penalty < best) {
        best = fitted.chiSquare + logFocal.penalty;
        pose = fitted;
      }
    }
    return pose;
  };
  let points = edges;
  let pose = fit(points, options.workHeightMm);
  for (let round = 0; pose && used.length > 1 && round < GROWTH_ROUNDS; round++) {
    const sides = sidesOutward(points, used, lines, pose, photo.rgb);
    points = shrunk(points, used, growthOf(sides));
    pose = fit(points, options.workHeightMm);
  }
  if (pose && used.length > 1) {
    // Noise that blur has spread, and cells that are read ill, move whole sides by more than a sharp picture's.
    const excess = excessOf(sidesOutward(points, used, lines, pose, photo.rgb));
    if (excess > 1) {
      points = points.map((p) => ({ ...p, sigmaPx: p.sigmaPx * Math.sqrt(excess) }));
      pose = fit(points, options.workHeightMm);
    }
  }
  if (!pose || pose.tiltDeg > 75) return null;

  const mmToPx = pose.faceMmToPx;
  const onCloth = isWindowCutOut(photo, layout, (mm) =>
    distort(applyHomography(mmToPx, mm), photo.rgb, pose!.k1),
  );
  // With its window cut out it lies on the tops of the strands.
  const height = onCloth ? BELOW_TOPS_MM : options.workHeightMm;
  if (onCloth) pose = fit(points, height) ?? pose;
  const { widthMm: w, heightMm: h } = layout;
  const outline = [
    { x: 0, y: 0 },
    { x: w, y: 0 },
    { x: w, y: h },
    { x: 0, y: h },
  ].map((mm) => distort(applyHomography(mmToPx, mm), photo.rgb, pose.k1)) as Quad;
  const advice: Advice[] = checked
    ? []
    : [
        {
          code: 'sheet-unchecked',
          message:
            'Measure the 100 mm line on the printed sheet once and type in what it is: printers like to shrink pages.',
        },
      ];
  const pxPerMm = distance(outline[0], outline[1]) / w;
  const misfitMm = pose.rmsPx / pxPerMm;
  return {
    kind: 'sheet',
    variety: `sheet-${layout.page}`,
    ...withLie(scaleFromPose(photo.rgb, pose, outline, assumedHeight(0.1)), height, onCloth),
    variations: poseVariations(pose.solution),
    confidence: Math.max(0, Math.min(1, (1.2 - misfitMm) / 0.7)) * (used.length === 1 ? 0.85 : 1),
    advice,
  };
}

/** All fiducials of a sheet at once: in a ring of squares, on paper, or in a ring of spots. */
function seenTogether(
  photo: DecodedPhoto,
  squares: readonly Quad[],
  papersSeen: () => readonly Quad[],
): SeenFiducial[] {
  const placed = (of: 'ring' | 'page', quads: readonly Quad[]): SeenFiducial[] =>
    fiducialsTogether(
      photo,
      quads.map((quad) => ({ of, quad })),
    );
  const inRing = placed('ring', squareRings(squares));
  if (inRing.length > 0) return inRing;
  const papers = papersSeen();
  const onPaper = placed('page', papers);
  if (onPaper.length > 0) return onPaper;
  // Beside a piece of more than a metre squares are spots.
  const spots = smallSquares(photo);
  return papers.length > 0 || spots.length <= MOST_SPOTS ? placed('ring', squareRings(spots)) : [];
}

/** What is known of where the sheet lies goes along with the scale. */
function withLie<T extends Pick<Scale, 'workHeight'>>(
  scale: T,
  height: Belief,
  onCloth: boolean | undefined,
): T {
  const { workHeight } = scale;
  if (!workHeight) return scale;
  return {
    ...scale,
    workHeight: {
      ...workHeight,
      meanMm: height.mean,
      sdMm: height.sd,
      ...(onCloth === undefined ? {} : { onCloth }),
    },
  };
}

/** One side of a fiducial after a fit. */
interface SideSeen {
  /** How far outside its place its points lie in the mean, px. */
  outwardPx: number;
  /** What was claimed of that mean, px. */
  sigmaPx: number;
  /** Direction across it in the picture, radians. */
  acrossRad: number;
}

function sidesOutward(
  points: readonly EdgePoint[],
  used: readonly SeenFiducial[],
  lines: readonly MmLine[],
  pose: PoseFit,
  size: DecodedPhoto['rgb'],
): SideSeen[] {
  const toMm = inverted(pose.faceMmToPx);
  const sums = new Map<number, { outward: number; variance: number; count: number }>();
  for (const point of points) {
    const { corners } = used[Math.floor(point.side / 4)]!;
    const mm = applyHomography(toMm, undistort(point.point, size, pose.k1));
    const [a, b, c] = lines[point.side]!;
    const sum = sums.get(point.side) ?? { outward: 0, variance: 0, count: 0 };
    // The lines' normals point into the squares.
    sum.outward -=
      ((a * mm.x + b * mm.y + c) * distance(corners[0], corners[2])) / (FIDUCIAL_MM * Math.SQRT2);
    sum.variance += point.sigmaPx ** 2;
    sum.count++;
    sums.set(point.side, sum);
  }
  return [...sums].map(([side, { outward, variance, count }]) => {
    const [from, to] = endsOf(side, used);
    return {
      outwardPx: outward / count,
      sigmaPx: Math.sqrt(variance) / count,
      acrossRad: Math.atan2(to.x - from.x, from.y - to.y),
    };
  });
}

/** Both ends of a side in the picture, clockwise. */
function endsOf(side: number, used: readonly SeenFiducial[]): [Point, Point] {
  const { corners } = used[Math.floor(side / 4)]!;
  return [corners[side % 4]!, corners[((side % 4) + 1) % 4]!];
}

/** Growth across a direction: evenly, and cos 2θ, sin 2θ of it, px a side. */
type Growth = [number, number, number];

const growthParts = (acrossRad: number): Growth => [1, Math.cos(2 * acrossRad), Math.sin(2 * acrossRad)];

/**
 * By how much the black squares look larger than they are: ink spreads, and blur moves the edge between black and
 * white once brightness is written with a curve; a moving camera blurs one direction more than the other. The
 * distances between squares tell it apart from the scale.
 */
function growthOf(sides: readonly SideSeen[]): Growth {
  const rows = sides.map((s) => growthParts(s.acrossRad));
  let growth: Growth = [0, 0, 0];
  const weights = sides.map(() => 1);
  // Weighted again by what is left, so that a side under a finger does not count.
  for (let round = 0; round < 4; round++) {
    const a = Matrix.zeros(3, 3);
    const g = Matrix.zeros(3, 1);
    rows.forEach((row, i) => {
      for (let j = 0; j < 3; j++) {
        g.set(j, 0, g.get(j, 0) + weights[i]! * row[j]! * sides[i]!.outwardPx);
        for (let k = 0; k < 3; k++) a.set(j, k, a.get(j, k) + weights[i]! * row[j]! * row[k]!);
      }
    });
    growth = solve(a, g).to1DArray() as Growth;
    const left = sides.map((s, i) => Math.abs(s.outwardPx - dot(growth, rows[i]!)));
    const usual = 1.5 * Math.max(1e-6, median(left));
    left.forEach((v, i) => (weights[i] = v <= 2 * usual ? 1 : (2 * usual) / v));
  }
  return growth;
}

const dot = (a: Growth, b: Growth): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** The points of all sides, moved into their squares by what these grew. */
function shrunk(points: readonly EdgePoint[], used: readonly SeenFiducial[], growth: Growth): EdgePoint[] {
  return points.map((point) => {
    const [from, to] = endsOf(point.side, used);
    const length = distance(from, to);
    const byPx = dot(growth, growthParts(Math.atan2(to.x - from.x, from.y - to.y)));
    return {
      ...point,
      point: {
        x: point.point.x - (byPx * (to.y - from.y)) / length,
        y: point.point.y + (byPx * (to.x - from.x)) / length,
      },
    };
  });
}

/** Variance of whole sides about the fit ÷ what was claimed (Birge's ratio, squared); a lost side counts no more than 9. */
function excessOf(sides: readonly SideSeen[]): number {
  const squares = sides.map((s) => Math.min(9, (s.outwardPx / s.sigmaPx) ** 2));
  return squares.reduce((sum, v) => sum + v, 0) / Math.max(1, sides.length - FITTED);
}

/**
 * Whether one looks through the sheet at something: paper all round the window, none inside its border. Cloth
 * that lies on the sheet does not end at the window's sides, and an empty sheet is paper there.
 *
 * @returns undefined when it cannot be told
 */
function isWindowCutOut(
  photo: DecodedPhoto,
  layout: SheetLayout,
  toPx: (mm: Point) => Point,
): boolean | undefined {
  const luma = (mm: Point): number | null => {
    const c = colourAt(photo.rgb, toPx(mm));
    return c && 0.299 * c[0] + 0.587 * c[1] + 0.114 * c[2];
  };
  const window = layout.windows[0]!;
  const [from, , to] = window.cornersMm;
  const middle = { x: (from.x + to.x) / 2, y: (from.y + to.y) / 2 };
  /** Brightness along the window's border, so far outside its sides, with the paper's own beside the fiducials. */
  const around = (outsideMm: number): number[] => {
    const half = window.sideMm / 2 + outsideMm;
    const values: number[] = [];
    for (let t = -0.9; t <= 0.9; t += 0.06) {
      for (const [x, y] of [
        [t, -1],
        [1, t],
        [t, 1],
        [-1, t],
      ] as const) {
        const here = luma({ x: middle.x + x * half, y: middle.y + y * half });
        // Half-way out to the fiducials on the same ray: light falls there nearly as here.
        const far = (window.sideMm / 2 + 17) / half;
        const paper = luma({ x: middle.x + x * half * far, y: middle.y + y * half * far });
        if (here !== null && paper !== null && paper > 30) values.push(here / paper);
      }
    }
    return values;
  };
  const isPaper = (v: number) => v > 0.85 && v < 1.18;
  const share = (values: number[]) =>
    values.length < 40 ? null : values.filter(isPaper).length / values.length;
  const outside = share([...around(4), ...around(7)]);
  const inside = share([...around(-4), ...around(-7)]);
  if (outside === null || inside === null) return undefined;
  if (outside < 0.7) return false;
  // White cloth looks like paper in places, a swatch smaller than the window leaves much of it: no telling.
  return outside > 0.85 && inside < 0.55 ? true : undefined;
}

function lineOf(a: Point, b: Point): MmLine {
  const length = distance(a, b);
  const nx = -(b.y - a.y) / length;
  const ny = (b.x - a.x) / length;
  return [nx, ny, -(nx * a.x + ny * a.y)];
}

/** All fiducials of our sheets that are seen, each code once (the best). */
export function detectFiducials(photo: DecodedPhoto): SeenFiducial[] {
  return readCodes(photo, darkSquares(photo));
}

function readCodes(photo: DecodedPhoto, squares: readonly Quad[]): SeenFiducial[] {
  const known = SHEET_PAGES.flatMap((page) => {
    const layout = sheetLayout(page);
    return layout.fiducials.map((fiducial) => ({ layout, fiducial }));
  });
  const byId = new Map(known.map((k) => [k.fiducial.id, k]));
  const dictionary = new aruco.AR.Dictionary('ARUCO_MIP_36h12');
  const found = new Map<number, SeenFiducial & { wrong: number }>();
  for (const quad of squares) {
    const bits = readCells(photo, quad);
    if (!bits) continue;
    let turned = bits;
    for (let quarter = 0; quarter < 4; quarter++) {
      const match = dictionary.find(turned);
      const entry = match && match.distance <= MAX_WRONG_CELLS ? byId.get(match.id) : undefined;
      if (match && entry) {
        const corners = [0, 1, 2, 3].map((i) => quad[(i + quarter) % 4]!) as Quad;
        const before = found.get(match.id);
        if (!before || before.wrong > match.distance)
          found.set(match.id, { ...entry, corners, wrong: match.distance });
        break;
      }
      turned = turnBack(turned);
    }
  }
  return [...found.values()];
}

/** A quarter turn anticlockwise: what was the right column becomes the top row. */
function turnBack(bits: number[][]): number[][] {
  const n = bits.length;
  return Array.from({ length: n }, (_, row) =>
    Array.from({ length: n }, (_, column) => bits[column]![n - 1 - row]!),
  );
}

/** Convex dark quadrilaterals, clockwise, in decoded px. */
function darkSquares(photo: DecodedPhoto): Quad[] {
  const sidePx = Math.max(photo.gray.widthPx, photo.gray.heightPx);
  return withMats((keep) => {
    let gray = keep(rgbToGrayMat(photo.rgb));
    const quads: Quad[] = [];
    for (const { searchPx, block } of SQUARE_SEARCHES) {
      const scale = Math.min(1, searchPx / sidePx);
      const smaller = keep<Mat>(new cv.Mat());
      const size = new cv.Size(
        Math.round(photo.gray.widthPx * scale),
        Math.round(photo.gray.heightPx * scale),
      );
      cv.resize(gray, smaller, size, 0, 0, cv.INTER_AREA);
      gray = smaller;
      const binary = keep<Mat>(new cv.Mat());
      cv.adaptiveThreshold(gray, binary, 255, cv.ADAPTIVE_THRESH_MEAN_C, cv.THRESH_BINARY_INV, block, 7);
      const contours = keep<MatVector>(new cv.MatVector());
      const hierarchy = keep<Mat>(new cv.Mat());
      cv.findContours(binary, contours, hierarchy, cv.RETR_LIST, cv.CHAIN_APPROX_NONE);
      quads.push(...squaresIn(contours, scale, keep<Mat>(new cv.Mat())));
    }
    return quads;
  });
}

/**
 * Those of the contours that are convex quadrilaterals of some size.
 *
 * @param polygon room to work in; made here, `keep` would be called, and V8 throws code away with what it calls
 */
function squaresIn(contours: MatVector, scale: number, polygon: Mat): Quad[] {
  const quads: Quad[] = [];
  const count = contours.size();
  for (let i = 0; i < count; i++) {
    const contour = contours.get(i);
    const length = contour.rows;
    if (length >= 40) cv.approxPolyDP(contour, polygon, 0.04 * length, true);
    contour.delete();
    if (length < 40 || polygon.rows !== 4) continue;
    const d = polygon.data32S;
    const quad = [0, 1, 2, 3].map((k) => ({
      x: (d[2 * k]! + 0.5) / scale - 0.5,
      y: (d[2 * k + 1]! + 0.5) / scale - 0.5,
    })) as Quad;
    const area = signedArea(quad);
    if (isConvex(quad) && Math.abs(area) * scale * scale > 120) {
      quads.push(area > 0 ? quad : [quad[0], quad[3], quad[2], quad[1]]);
    }
  }
  return quads;
}

/** The 6 × 6 cells inside a black frame, 1 = light; null when the frame is not black all round. */
function readCells(photo: DecodedPhoto, quad: Quad): number[][] | null {
  const h = unitSquareTo(quad);
  const values: number[][] = [];
  for (let row = 0; row < 8; row++) {
    values.push([]);
    for (let column = 0; column < 8; column++) {
      let sum = 0;
      for (const [dx, dy] of [
        [0, 0],
        [-0.2, -0.2],
        [0.2, -0.2],
        [0.2, 0.2],
        [-0.2, 0.2],
      ] as const) {
        const c = colourAt(
          photo.rgb,
          applyHomography(h, { x: (column + 0.5 + dx) / 8, y: (row + 0.5 + dy) / 8 }),
        );
        if (!c) return null;
        sum += 0.299 * c[0] + 0.587 * c[1] + 0.114 * c[2];
      }
      values[row]!.push(sum / 5);
    }
  }
  const sorted = values.flat().sort((p, q) => p - q);
  // The frame alone is 28 of 64 cells; every code has at least a few light cells.
  const dark = sorted[10]!;
  const light = sorted[60]!;
  if (light - dark < 25) return null;
  const threshold = (dark + light) / 2;
  let wrongFrame = 0;
  values.forEach((line, row) =>
    line.forEach((v, column) => {
      const frame = row === 0 || column === 0 || row === 7 || column === 7;
      if (frame && v > threshold) wrongFrame++;
    }),
  );
  if (wrongFrame > 2) return null;
  return values.slice(1, 7).map((line) => line.slice(1, 7).map((v) => (v > threshold ? 1 : 0)));
}
