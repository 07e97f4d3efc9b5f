import { lazy, Suspense, useMemo, useState } from 'react';
import { COVERAGE_95, MM_PER_10CM, MM_PER_4IN, type Plan } from '../../calc/index.ts';
import type { Check, Piece } from '../../server/api/schemas.ts';
import { deleteCheck, getPiece, photoImageUrl, restoreCheck, sentenceOf } from '../lib/api.ts';
import { formatDay, formatNumber, useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import type { KeptResult } from './check-facts.ts';
import type { ChartLine } from './line-chart.tsx';

const LineChart = lazy(() => import('./line-chart.tsx').then((part) => ({ default: part.LineChart })));

/** Every check kept so far: photo, day, row, gauge and where it was heading; the gauge over the piece's life. */
export function CheckHistory({
  piece,
  plan,
  kept,
  onChanged,
}: {
  piece: Piece;
  plan: Plan;
  kept: { check: Check; result: KeptResult | null }[];
  onChanged: (piece: Piece) => void;
}) {
  const format = useFormat();
  const [wrong, setWrong] = useState<string | null>(null);
  const [undo, setUndo] = useState<string | null>(null);
  const per = format.lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const unit = text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm');
  const { x, lines } = useMemo(() => {
    const read = kept
      .flatMap(({ check, result }) =>
        check.rowsDone !== null && result?.stitchesPer10cm
          ? [{ row: check.rowsDone, ...result.stitchesPer10cm }]
          : [],
      )
      .sort((a, b) => a.row - b.row);
    const swatch = plan.gauge.stitchesPer10cm;
    const rows = [...new Set([0, ...read.map((one) => one.row), plan.rows])].sort((a, b) => a - b);
    const at = (row: number) => read.findLast((one) => one.row === row);
    const pick = (get: (one: (typeof read)[number]) => number) =>
      rows.map((row) => {
        const one = at(row);
        return one ? get(one) * per : null;
      });
    const made: ChartLine[] = [
      {
        kind: 'level',
        label: text('drift.swatch'),
        values: rows.map(() => swatch.value * per),
        low: rows.map(() => swatch.low95 * per),
        high: rows.map(() => swatch.high95 * per),
      },
      {
        kind: 'points',
        label: text('history.checks'),
        values: pick((one) => one.value),
        low: pick((one) => one.value - COVERAGE_95 * one.standardUncertainty),
        high: pick((one) => one.value + COVERAGE_95 * one.standardUncertainty),
      },
    ];
    return { x: read.length > 0 ? rows : [], lines: made };
  }, [kept, plan, per]);

  if (kept.length === 0 && !undo) return null;
  const attempt = async (act: () => Promise<unknown>, undoable: string | null) => {
    setWrong(null);
    try {
      await act();
      // What is said and what is listed change together.
      const changed = await getPiece(piece.id);
      setUndo(undoable);
      onChanged(changed);
    } catch (error) {
      setWrong(sentenceOf(error));
    }
  };
  return (
    <section className="sheet history" aria-labelledby="history-heading">
      <h2 id="history-heading">{text('history.heading')}</h2>
      <Wrong what={wrong} />
      {undo && (
        <p role="status">
          {text('history.deleted')}{' '}
          <button
            type="button"
            className="button"
            onClick={() => void attempt(() => restoreCheck(piece.id, undo), null)}
          >
            {text('history.undo')}
          </button>
        </p>
      )}
      {x.length > 0 && (
        <>
          <Suspense fallback={<div className="chart" />}>
            <LineChart
              x={x}
              lines={lines}
              xLabel={text('drift.row')}
              yLabel={text('drift.stitches', { unit })}
              label={text('history.label')}
            />
          </Suspense>
          <ul className="track-key">
            <li>{text('history.keyChecks')}</li>
            <li>{text('drift.keySwatch')}</li>
          </ul>
        </>
      )}
      <ul className="piece-cards">
        {kept.map(({ check, result }) => (
          <li key={check.id} className="history-card">
            {check.photoIds.length > 0 && (
              // Of several parts the one that was taken last.
              <img src={photoImageUrl(check.photoIds.at(-1)!, 480)} alt="" loading="lazy" />
            )}
            <p>
              <strong>{formatDay(check.at)}</strong>
            </p>
            <p>
              {check.rowsDone !== null && text('history.row', { n: check.rowsDone })}{' '}
              {result?.stitchesPer10cm &&
                text('history.gauge', {
                  stitches: formatNumber(result.stitchesPer10cm.value * per, 1),
                  unit,
                })}{' '}
              {result?.drift && result.drift !== 'unknown' && text(`history.${result.drift}`)}{' '}
              {result && text('history.towards', { size: format.size(result.widthMm, result.heightMm) })}
            </p>
            <button
              type="button"
              className="button button-quiet"
              aria-label={text('history.deleteNamed', { day: formatDay(check.at) })}
              onClick={() => void attempt(() => deleteCheck(piece.id, check.id), check.id)}
            >
              {text('pieces.delete')}
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}
