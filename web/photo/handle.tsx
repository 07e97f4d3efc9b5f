import { useRef, type KeyboardEvent, type PointerEvent } from 'react';
import type { Point } from '../../vision/types.ts';
import { useFrame } from './photo-view.tsx';

export interface HandleProps {
  atPx: Point;
  label: string;
  onMove: (to: Point) => void;
  /** Called once a drag or a run of key presses is over. */
  onSettled?: () => void;
}

/** A point on the photo that can be dragged by touch or mouse, or nudged by the arrow keys (Shift: ten times as far). */
export function Handle({ atPx, label, onMove, onSettled }: HandleProps) {
  const { pxPerCss, toPhoto, inPhoto, magnify } = useFrame();
  const grip = useRef<Point | null>(null);

  const onPointerDown = (event: PointerEvent<SVGGElement>) => {
    event.stopPropagation();
    event.currentTarget.setPointerCapture(event.pointerId);
    const at = toPhoto(event.clientX, event.clientY);
    grip.current = { x: atPx.x - at.x, y: atPx.y - at.y };
    magnify(atPx);
  };
  const onPointerMove = (event: PointerEvent<SVGGElement>) => {
    if (!grip.current) return;
    event.stopPropagation();
    const at = toPhoto(event.clientX, event.clientY);
    const to = inPhoto({ x: at.x + grip.current.x, y: at.y + grip.current.y });
    onMove(to);
    magnify(to);
  };
  const onPointerEnd = () => {
    if (!grip.current) return;
    grip.current = null;
    magnify(null);
    onSettled?.();
  };
  const onKeyDown = (event: KeyboardEvent<SVGGElement>) => {
    const far = (event.shiftKey ? 10 : 1) * pxPerCss;
    const steps: Record<string, Point> = {
      ArrowLeft: { x: -far, y: 0 },
      ArrowRight: { x: far, y: 0 },
      ArrowUp: { x: 0, y: -far },
      ArrowDown: { x: 0, y: far },
    };
    const step = steps[event.key];
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    onMove(inPhoto({ x: atPx.x + step.x, y: atPx.y + step.y }));
  };

  return (
    <g
      className="handle"
      role="button"
      tabIndex={0}
      aria-label={label}
      onPointerDown={onPointerDown}
      onPointerMove={onPointerMove}
      onPointerUp={onPointerEnd}
      onPointerCancel={onPointerEnd}
      onKeyDown={onKeyDown}
      onKeyUp={(event) => event.key.startsWith('Arrow') && onSettled?.()}
    >
      {/* The unseen disc is what a fingertip needs; the ring is what the eye needs. */}
      <circle cx={atPx.x} cy={atPx.y} r={22 * pxPerCss} className="handle-reach" />
      <circle cx={atPx.x} cy={atPx.y} r={9 * pxPerCss} className="handle-ring-under" />
      <circle cx={atPx.x} cy={atPx.y} r={9 * pxPerCss} className="handle-ring" />
      <circle cx={atPx.x} cy={atPx.y} r={1.5 * pxPerCss} className="handle-dot" />
    </g>
  );
}
