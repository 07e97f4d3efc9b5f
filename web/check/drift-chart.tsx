import { lazy, Suspense, useMemo, type ReactNode } from 'react';
import {
  COVERAGE_95,
  MM_PER_10CM,
  MM_PER_4IN,
  type AcrossWidth,
  type Drift,
  type GaugeBand,
  type Plan,
} from '../../calc/index.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import type { ChartLine } from './line-chart.tsx';

const LineChart = lazy(() => import('./line-chart.tsx').then((part) => ({ default: part.LineChart })));

/** Stitches per length by row: what was read, the line through it, and the swatch's gauge. */
export function DriftChart({
  plan,
  drift,
  across,
  bands,
  children,
}: {
  plan: Plan;
  drift: Drift;
  across: AcrossWidth;
  bands: GaugeBand[];
  /** What the direction of the drift rests on. */
  children?: ReactNode;
}) {
  const format = useFormat();
  const say = useSay();
  const per = format.lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const unit = text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm');
  const { x, lines } = useMemo(() => {
    // Photos that show the same row have a dot each.
    const places: { row: number; band?: GaugeBand; fitted?: Drift['line'][number] }[] = [
      ...bands.map((band) => ({ row: band.row, band })),
      ...drift.line.map((fitted) => ({ row: fitted.row, fitted })),
    ].sort((a, b) => a.row - b.row);
    const rows = places.map(({ row }) => row);
    const swatch = plan.gauge.stitchesPer10cm;
    const at = (of: 'band' | 'fitted', get: (found: Pick<GaugeBand, 'stitchesPer10cm'>) => number) =>
      places.map((place) => (place[of] ? get(place[of]) * per : null));
    const made: ChartLine[] = [
      {
        kind: 'level',
        label: text('drift.swatch'),
        values: rows.map(() => swatch.value * per),
        low: rows.map(() => swatch.low95 * per),
        high: rows.map(() => swatch.high95 * per),
      },
      {
        kind: 'line',
        label: text('drift.line'),
        values: at('fitted', (one) => one.stitchesPer10cm.value),
        low: at('fitted', (one) => ends(one)[0]),
        high: at('fitted', (one) => ends(one)[1]),
      },
      {
        kind: 'points',
        label: text('drift.read'),
        values: at('band', (one) => one.stitchesPer10cm.value),
        low: at('band', (one) => ends(one)[0]),
        high: at('band', (one) => ends(one)[1]),
      },
    ];
    return { x: rows, lines: made };
  }, [plan, drift, bands, per]);

  return (
    <div className="plan-part">
      <h3>{text('drift.heading')}</h3>
      <p data-testid="drift">{say(drift.said)}</p>
      {children}
      {drift.swatch?.differs && (
        <p>
          {text(drift.swatch.differencePercent.value > 0 ? 'drift.tighter' : 'drift.looser', {
            share: format.percent(Math.abs(drift.swatch.differencePercent.value) / 100, 1),
          })}
        </p>
      )}
      {across.status !== 'unknown' && <p>{say(across.said)}</p>}
      {drift.line.length > 0 && (
        <>
          <Suspense fallback={<div className="chart" />}>
            <LineChart
              x={x}
              lines={lines}
              xLabel={text('drift.row')}
              yLabel={text('drift.stitches', { unit })}
              label={text('drift.label')}
            />
          </Suspense>
          <ul className="track-key">
            <li>{text('drift.keyRead')}</li>
            <li>{text('drift.keyLine')}</li>
            <li>{text('drift.keySwatch')}</li>
          </ul>
          <details className="fold">
            <summary>{text('drift.table')}</summary>
            <table className="table">
              <thead>
                <tr>
                  <th scope="col">{text('drift.row')}</th>
                  <th scope="col">{text('drift.stitches', { unit })}</th>
                </tr>
              </thead>
              <tbody>
                {bands.map((band, index) => (
                  <tr key={index}>
                    <td>{formatNumber(band.row)}</td>
                    <td>
                      {text('gauge.of', {
                        value: formatNumber(band.stitchesPer10cm.value * per, 1),
                        spread: formatNumber(COVERAGE_95 * band.stitchesPer10cm.standardUncertainty * per, 1),
                      })}
                    </td>
                  </tr>
                ))}
              </tbody>
            </table>
          </details>
        </>
      )}
    </div>
  );
}

/** What a band or a point of the trend lies between, 95 %. */
const ends = ({
  stitchesPer10cm: { value, standardUncertainty },
}: Pick<GaugeBand, 'stitchesPer10cm'>): [low: number, high: number] => [
  value - COVERAGE_95 * standardUncertainty,
  value + COVERAGE_95 * standardUncertainty,
];
