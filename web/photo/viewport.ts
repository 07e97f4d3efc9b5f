import type { Point } from '../../vision/types.ts';

/** What part of the photo the frame shows. `zoom` 1 shows all of it. */
export interface Viewport {
  centrePx: Point;
  zoom: number;
}

export interface FrameSize {
  widthCss: number;
  heightCss: number;
}

export interface PhotoSize {
  widthPx: number;
  heightPx: number;
}

export const LARGEST_ZOOM = 16;

/** CSS pixels per photo pixel when the whole photo fits the frame. */
export function fitScale(photo: PhotoSize, frame: FrameSize): number {
  return Math.min(frame.widthCss / photo.widthPx, frame.heightCss / photo.heightPx);
}

/** The box in photo pixels that fills the frame, for an SVG `viewBox`. */
export function visibleBox(view: Viewport, photo: PhotoSize, frame: FrameSize) {
  const scale = fitScale(photo, frame) * view.zoom;
  const width = frame.widthCss / scale;
  const height = frame.heightCss / scale;
  return { x: view.centrePx.x - width / 2, y: view.centrePx.y - height / 2, width, height, scale };
}

export function wholePhoto(photo: PhotoSize): Viewport {
  return { centrePx: { x: photo.widthPx / 2, y: photo.heightPx / 2 }, zoom: 1 };
}

/** Keeps the zoom in range and the photo in the frame, so that it can never be lost from sight. */
export function settle(view: Viewport, photo: PhotoSize, frame: FrameSize): Viewport {
  const zoom = Math.min(LARGEST_ZOOM, Math.max(1, view.zoom));
  const scale = fitScale(photo, frame) * zoom;
  const along = (centre: number, length: number, seen: number) =>
    seen >= length ? length / 2 : Math.min(length - seen / 2, Math.max(seen / 2, centre));
  return {
    zoom,
    centrePx: {
      x: along(view.centrePx.x, photo.widthPx, frame.widthCss / scale),
      y: along(view.centrePx.y, photo.heightPx, frame.heightCss / scale),
    },
  };
}

/** Zooms by `factor` while the photo point under `atPx` stays where it is on the screen. */
export function zoomAt(
  view: Viewport,
  factor: number,
  atPx: Point,
  photo: PhotoSize,
  frame: FrameSize,
): Viewport {
  const zoom = Math.min(LARGEST_ZOOM, Math.max(1, view.zoom * factor));
  const kept = view.zoom / zoom;
  return settle(
    {
      zoom,
      centrePx: {
        x: atPx.x + (view.centrePx.x - atPx.x) * kept,
        y: atPx.y + (view.centrePx.y - atPx.y) * kept,
      },
    },
    photo,
    frame,
  );
}

/** Moves the view by CSS pixels: dragging right shows more of the photo's left. */
export function panBy(
  view: Viewport,
  dxCss: number,
  dyCss: number,
  photo: PhotoSize,
  frame: FrameSize,
): Viewport {
  const scale = fitScale(photo, frame) * view.zoom;
  return settle(
    { zoom: view.zoom, centrePx: { x: view.centrePx.x - dxCss / scale, y: view.centrePx.y - dyCss / scale } },
    photo,
    frame,
  );
}

/** The view that just holds all the points, with some room around them. */
export function viewOf(points: Point[], photo: PhotoSize, frame: FrameSize): Viewport {
  const xs = points.map((p) => p.x);
  const ys = points.map((p) => p.y);
  const [left, right] = [Math.min(...xs), Math.max(...xs)];
  const [top, bottom] = [Math.min(...ys), Math.max(...ys)];
  const room = 1.16;
  const scale = Math.min(frame.widthCss / ((right - left) * room), frame.heightCss / ((bottom - top) * room));
  return settle(
    { zoom: scale / fitScale(photo, frame), centrePx: { x: (left + right) / 2, y: (top + bottom) / 2 } },
    photo,
    frame,
  );
}
