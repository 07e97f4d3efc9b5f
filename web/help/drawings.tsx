import type { ReactNode } from 'react';

/** Line drawings in the page's own colours; the words beside them say the same, so they stay silent. */
function Drawing({ children }: { children: ReactNode }) {
  return (
    <svg className="drawing" viewBox="0 0 240 140" aria-hidden="true">
      {children}
    </svg>
  );
}

/** A swatch: rows of little loops on a rectangle. */
function Cloth({ x, y, w, h, turn = 0 }: { x: number; y: number; w: number; h: number; turn?: number }) {
  const rows = Math.round(h / 11);
  const stitches = Math.round(w / 9);
  const [dx, dy] = [w / stitches, h / rows];
  return (
    <g transform={`rotate(${turn} ${x + w / 2} ${y + h / 2})`}>
      <rect className="d-cloth" x={x} y={y} width={w} height={h} rx={3} />
      {Array.from({ length: rows }, (_, row) => (
        <path
          key={row}
          className="d-loops"
          d={Array.from(
            { length: stitches },
            (_, i) =>
              `M${x + (i + 0.12) * dx} ${y + (row + 0.25) * dy}q${dx * 0.38} ${dy * 0.85} ${dx * 0.76} 0`,
          ).join('')}
        />
      ))}
    </g>
  );
}

function Card({ x, y, turn = 0, face = false }: { x: number; y: number; turn?: number; face?: boolean }) {
  return (
    <g transform={`rotate(${turn} ${x + 28} ${y + 17})`}>
      <rect className="d-card" x={x} y={y} width={56} height={35} rx={3} />
      {face && (
        <>
          <rect className="d-mark" x={x + 7} y={y + 9} width={9} height={7} rx={1.5} />
          <path className="d-line" d={`M${x + 7} ${y + 24}h10m3 0h10m3 0h10`} />
        </>
      )}
      {!face && <path className="d-line" d={`M${x + 7} ${y + 10}h24M${x + 7} ${y + 18}h16`} />}
    </g>
  );
}

const Tick = ({ x, y }: { x: number; y: number }) => <path className="d-yes" d={`M${x} ${y}l6 6 11-13`} />;
const Cross = ({ x, y }: { x: number; y: number }) => (
  <path className="d-no" d={`M${x} ${y}l12 12m0-12l-12 12`} />
);

export function SamePlane() {
  return (
    <Drawing>
      <Cloth x={22} y={22} w={100} h={92} turn={-3} />
      <Card x={146} y={50} turn={8} />
      <path className="d-line" d="M8 128H232" />
      <Tick x={208} y={26} />
    </Drawing>
  );
}

export function FlatAndWhole() {
  return (
    <Drawing>
      <Cloth x={14} y={30} w={92} h={80} />
      <Tick x={50} y={22} />
      <path className="d-cloth" d="M136 40q24-20 48 0t42-6l-4 74q-24 14-44-2t-42 6z" />
      <path className="d-loops" d="M140 58q22-16 44 0t40-4M139 76q22-16 44 0t40-4M138 94q22-14 44 0t40-2" />
      <Cross x={178} y={14} />
    </Drawing>
  );
}

export function Above() {
  return (
    <Drawing>
      <path className="d-line" d="M14 122H110M130 122H226" />
      <rect className="d-cloth" x={28} y={114} width={66} height={8} rx={2} />
      <rect className="d-phone" x={38} y={26} width={46} height={7} rx={2} />
      <path className="d-sight" d="M61 34L32 112M61 34L90 112" />
      <Tick x={92} y={28} />
      <rect className="d-cloth" x={144} y={114} width={66} height={8} rx={2} />
      <g transform="rotate(48 216 44)">
        <rect className="d-phone" x={193} y={40} width={46} height={7} rx={2} />
      </g>
      <path className="d-sight" d="M212 48L148 112M212 48L208 112" />
      <Cross x={146} y={24} />
    </Drawing>
  );
}

export function CloseEnough() {
  return (
    <Drawing>
      <rect className="d-frame" x={10} y={18} width={104} height={104} rx={8} />
      <Cloth x={20} y={36} w={84} h={50} />
      <rect className="d-card" x={34} y={92} width={40} height={25} rx={3} />
      <Tick x={92} y={102} />
      <rect className="d-frame" x={126} y={18} width={104} height={104} rx={8} />
      <Cloth x={166} y={58} w={24} h={20} />
      <rect className="d-card" x={170} y={84} width={12} height={8} rx={1} />
      <Cross x={210} y={102} />
    </Drawing>
  );
}

export function LightFromSide() {
  return (
    <Drawing>
      <circle className="d-sun" cx={34} cy={34} r={14} />
      <path className="d-sight" d="M50 44L92 66M46 52L80 88M54 36L104 46" />
      <Cloth x={104} y={44} w={98} h={70} />
      <path className="d-line" d="M8 126H232" />
    </Drawing>
  );
}

export function NotThese() {
  return (
    <Drawing>
      <Card x={30} y={50} />
      <Tick x={50} y={36} />
      <Card x={150} y={50} face />
      <Cross x={172} y={28} />
      <path className="d-line" d="M120 24V116" />
    </Drawing>
  );
}
