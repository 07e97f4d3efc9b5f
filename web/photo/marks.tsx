import type { Point } from '../../vision/types.ts';
import { text } from '../lib/text.ts';
import type { Correction, Pair, Quad } from '../swatch/corrections.ts';
import { Handle } from './handle.tsx';

/** The marks of the correction under way, each to be dragged or nudged. */
export function Marks({
  correction,
  onChange,
}: {
  correction: Correction;
  onChange: (changed: Correction) => void;
}) {
  switch (correction.about) {
    case 'nothing':
      return null;
    case 'scale-rectangle':
    case 'area':
      return (
        <QuadMarks
          cornersPx={correction.cornersPx}
          onChange={(cornersPx) => onChange({ ...correction, cornersPx })}
        />
      );
    case 'scale-length':
    case 'count':
      return (
        <PairMarks
          pointsPx={correction.pointsPx}
          onChange={(pointsPx) => onChange({ ...correction, pointsPx })}
        />
      );
  }
}

const at = (points: Point[]) => points.map((p) => `${p.x},${p.y}`).join(' ');

function QuadMarks({ cornersPx, onChange }: { cornersPx: Quad; onChange: (corners: Quad) => void }) {
  return (
    <g>
      <polygon className="marks-under" points={at(cornersPx)} />
      <polygon className="marks" points={at(cornersPx)} />
      {cornersPx.map((corner, index) => (
        <Handle
          key={index}
          atPx={corner}
          label={text('correct.corner', { n: index + 1 })}
          onMove={(to) => onChange(cornersPx.map((p, i) => (i === index ? to : p)) as Quad)}
        />
      ))}
    </g>
  );
}

function PairMarks({ pointsPx, onChange }: { pointsPx: Pair; onChange: (points: Pair) => void }) {
  return (
    <g>
      <polyline className="marks-under" points={at(pointsPx)} />
      <polyline className="marks" points={at(pointsPx)} />
      {pointsPx.map((point, index) => (
        <Handle
          key={index}
          atPx={point}
          label={text('correct.mark', { n: index + 1 })}
          onMove={(to) => onChange(pointsPx.map((p, i) => (i === index ? to : p)) as Pair)}
        />
      ))}
    </g>
  );
}
