import {
  createContext,
  useContext,
  useEffect,
  useId,
  useLayoutEffect,
  useRef,
  useState,
  type KeyboardEvent,
  type PointerEvent,
  type ReactNode,
} from 'react';
import type { Point } from '../../vision/types.ts';
import { text } from '../lib/text.ts';
import {
  panBy,
  settle,
  viewOf,
  visibleBox,
  wholePhoto,
  zoomAt,
  type FrameSize,
  type Viewport,
} from './viewport.ts';

interface Frame {
  /** Photo pixels per CSS pixel: multiply a wanted screen size by it. */
  pxPerCss: number;
  toPhoto: (clientX: number, clientY: number) => Point;
  /** The place nearest to a point that is in the photo: nothing can be marked beside it. */
  inPhoto: (point: Point) => Point;
  /** Shows the enlarged spot under a dragged point, or nothing. */
  magnify: (at: Point | null) => void;
}

const FrameContext = createContext<Frame | null>(null);

/** For things drawn over the photo: how big a screen pixel is, and where a pointer is in the photo. */
export function useFrame(): Frame {
  const frame = useContext(FrameContext);
  if (!frame) throw new Error('useFrame needs a PhotoView above it');
  return frame;
}

export interface PhotoViewProps {
  src: string | null;
  /** Size of the ORIGINAL photo: everything drawn over it is in these pixels, whatever size `src` has. */
  widthPx: number;
  heightPx: number;
  label: string;
  /** What to move closer to when it is first given (or changes); the whole photo when null. */
  lookAtPx: Point[] | null;
  children?: ReactNode;
  /** Lies over the photo's lower edge. */
  strip?: ReactNode;
  /** Stands beside the zoom buttons under the photo. */
  bar?: ReactNode;
}

/**
 * A photo that can be zoomed and moved by touch (two fingers), mouse (drag, Ctrl + wheel, double click) and
 * keyboard (plus, minus, zero, arrows), with whatever is drawn over it kept in place.
 */
export function PhotoView({ src, widthPx, heightPx, label, lookAtPx, children, strip, bar }: PhotoViewProps) {
  const photo = { widthPx, heightPx };
  const svgRef = useRef<SVGSVGElement>(null);
  const [frame, setFrame] = useState<FrameSize>({ widthCss: 400, heightCss: 300 });
  const [view, setView] = useState<Viewport>(() => wholePhoto(photo));
  // One finger moves the photo only where she went closer herself; else it scrolls the page, as everywhere.
  const [isHerView, setIsHerView] = useState(false);
  const look = (next: Viewport | ((before: Viewport) => Viewport)) => {
    setView(next);
    setIsHerView(true);
  };
  const [spot, setSpot] = useState<Point | null>(null);
  const fingers = useRef(new Map<number, { x: number; y: number }>());
  const hintId = useId();

  useEffect(() => {
    setView(wholePhoto({ widthPx, heightPx }));
    setIsHerView(false);
  }, [src, widthPx, heightPx]);

  useLayoutEffect(() => {
    const svg = svgRef.current;
    if (!svg) return;
    const read = () => {
      const box = svg.getBoundingClientRect();
      if (box.width > 0) setFrame({ widthCss: box.width, heightCss: box.height });
    };
    read();
    const watch = new ResizeObserver(read);
    watch.observe(svg);
    return () => watch.disconnect();
  }, []);

  const lookAt = useRef<Point[] | null>(null);
  useEffect(() => {
    if (lookAtPx === lookAt.current) return;
    lookAt.current = lookAtPx;
    if (!lookAtPx || lookAtPx.length < 2) return;
    setView(viewOf(lookAtPx, { widthPx, heightPx }, frame));
    setIsHerView(false);
  }, [lookAtPx, widthPx, heightPx, frame]);

  const shown = settle(view, photo, frame);
  const box = visibleBox(shown, photo, frame);

  const toPhoto = (clientX: number, clientY: number): Point => {
    const rect = svgRef.current?.getBoundingClientRect();
    if (!rect) return { x: 0, y: 0 };
    return { x: box.x + (clientX - rect.left) / box.scale, y: box.y + (clientY - rect.top) / box.scale };
  };

  const inPhoto = ({ x, y }: Point): Point => ({
    x: Math.min(widthPx, Math.max(0, x)),
    y: Math.min(heightPx, Math.max(0, y)),
  });

  // The wheel listener must be able to keep the page from zooming, which React's passive one may not.
  const latest = useRef({ toPhoto, photo, frame, look });
  latest.current = { toPhoto, photo, frame, look };
  useEffect(() => {
    const svg = svgRef.current;
    if (!svg) return;
    const onWheel = (event: WheelEvent) => {
      if (!event.ctrlKey && !event.metaKey) return; // a plain wheel scrolls the page, as everywhere else
      event.preventDefault();
      const now = latest.current;
      const at = now.toPhoto(event.clientX, event.clientY);
      const factor = Math.exp(-event.deltaY * 0.004);
      latest.current.look((before) =>
        zoomAt(settle(before, now.photo, now.frame), factor, at, now.photo, now.frame),
      );
    };
    svg.addEventListener('wheel', onWheel, { passive: false });
    return () => svg.removeEventListener('wheel', onWheel);
  }, []);

  const zoomMiddle = (factor: number) => look(zoomAt(shown, factor, shown.centrePx, photo, frame));

  const movesByOneFinger = shown.zoom > 1 && isHerView;
  const onPointerDown = (event: PointerEvent<SVGSVGElement>) => {
    if (event.button !== 0) return;
    fingers.current.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (event.pointerType !== 'touch' || movesByOneFinger || fingers.current.size > 1)
      svgRef.current?.setPointerCapture(event.pointerId);
  };
  const onPointerMove = (event: PointerEvent<SVGSVGElement>) => {
    const before = fingers.current.get(event.pointerId);
    if (!before) return;
    const now = { x: event.clientX, y: event.clientY };
    const other = [...fingers.current].find(([id]) => id !== event.pointerId)?.[1];
    fingers.current.set(event.pointerId, now);
    if (other) {
      const apart = (p: { x: number; y: number }) => Math.hypot(p.x - other.x, p.y - other.y);
      const factor = apart(now) / Math.max(1, apart(before));
      const at = toPhoto((now.x + other.x) / 2, (now.y + other.y) / 2);
      // From the last view, not the last drawn one: on a slow device several moves come between two pictures.
      look((last) => {
        const zoomed = zoomAt(settle(last, photo, frame), factor, at, photo, frame);
        return panBy(zoomed, (now.x - before.x) / 2, (now.y - before.y) / 2, photo, frame);
      });
    } else if (movesByOneFinger || (shown.zoom > 1 && event.pointerType !== 'touch')) {
      look((last) => panBy(settle(last, photo, frame), now.x - before.x, now.y - before.y, photo, frame));
    }
  };
  const onPointerEnd = (event: PointerEvent<SVGSVGElement>) => {
    fingers.current.delete(event.pointerId);
  };

  const onKeyDown = (event: KeyboardEvent<SVGSVGElement>) => {
    if (event.target !== svgRef.current || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = 60;
    const moves: Record<string, [number, number]> = {
      ArrowLeft: [step, 0],
      ArrowRight: [-step, 0],
      ArrowUp: [0, step],
      ArrowDown: [0, -step],
    };
    const move = moves[event.key];
    if (move && shown.zoom > 1) look(panBy(shown, move[0], move[1], photo, frame));
    else if (event.key === '+' || event.key === '=') zoomMiddle(1.4);
    else if (event.key === '-') zoomMiddle(1 / 1.4);
    else if (event.key === '0') look(wholePhoto(photo));
    else return;
    event.preventDefault();
  };

  const pxPerCss = 1 / box.scale;
  const loupeHalf = 26 * pxPerCss;

  return (
    <div>
      <div className="photo-view">
        <svg
          ref={svgRef}
          className="photo-view-picture"
          viewBox={`${box.x} ${box.y} ${box.width} ${box.height}`}
          data-zoomed={movesByOneFinger || undefined}
          data-upright={heightPx > widthPx || undefined}
          role="group"
          aria-label={label}
          aria-describedby={hintId}
          tabIndex={0}
          onPointerDown={onPointerDown}
          onPointerMove={onPointerMove}
          onPointerUp={onPointerEnd}
          onPointerCancel={onPointerEnd}
          onDoubleClick={(event) =>
            look(zoomAt(shown, 2, toPhoto(event.clientX, event.clientY), photo, frame))
          }
          onKeyDown={onKeyDown}
        >
          {src && <image href={src} width={widthPx} height={heightPx} preserveAspectRatio="none" />}
          <FrameContext value={{ pxPerCss, toPhoto, inPhoto, magnify: setSpot }}>{children}</FrameContext>
        </svg>
        {spot && src && (
          <svg
            className="photo-view-loupe"
            aria-hidden="true"
            viewBox={`${spot.x - loupeHalf} ${spot.y - loupeHalf} ${2 * loupeHalf} ${2 * loupeHalf}`}
          >
            <image href={src} width={widthPx} height={heightPx} preserveAspectRatio="none" />
            <path
              className="loupe-cross"
              d={`M${spot.x - loupeHalf} ${spot.y}H${spot.x + loupeHalf}M${spot.x} ${spot.y - loupeHalf}V${spot.y + loupeHalf}`}
            />
          </svg>
        )}
        {strip}
      </div>
      <p id={hintId} className="only-read">
        {text('photo.keys')}
      </p>
      <div className="photo-view-bar">
        {bar}
        <div className="photo-view-zoom">
          <button type="button" onClick={() => zoomMiddle(1.6)} aria-label={text('photo.zoomIn')}>
            <svg viewBox="0 0 16 16" aria-hidden="true">
              <path d="M3 8h10M8 3v10" />
            </svg>
          </button>
          <button
            type="button"
            onClick={() => zoomMiddle(1 / 1.6)}
            disabled={shown.zoom <= 1}
            aria-label={text('photo.zoomOut')}
          >
            <svg viewBox="0 0 16 16" aria-hidden="true">
              <path d="M3 8h10" />
            </svg>
          </button>
          <button
            type="button"
            onClick={() => look(wholePhoto(photo))}
            disabled={shown.zoom <= 1}
            aria-label={text('photo.zoomWhole')}
          >
            <svg viewBox="0 0 16 16" aria-hidden="true">
              <path d="M3 6V3h3M10 3h3v3M13 10v3h-3M6 13H3v-3" />
            </svg>
          </button>
        </div>
      </div>
    </div>
  );
}
