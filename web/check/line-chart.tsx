import { useEffect, useRef } from 'react';
import uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { formatNumber } from '../lib/format.ts';

export interface ChartLine {
  label: string;
  /** One per x; null where the line has no value. */
  values: (number | null)[];
  low?: (number | null)[];
  high?: (number | null)[];
  /** Points with bars, a line with a band around it, or a dashed level with a band. */
  kind: 'points' | 'line' | 'level';
}

export interface LineChartProps {
  x: number[];
  xLabel: string;
  yLabel: string;
  lines: ChartLine[];
  /** What the chart shows, in words, for those who do not see it. */
  label: string;
  decimals?: number;
  /** Writes an x value under the axis. */
  xText?: (x: number) => string;
}

const HEIGHT_CSS = 260;

/** A chart of a few lines with their uncertainty, in the page's colours; redrawn when light turns to dark. */
export function LineChart({ x, xLabel, yLabel, lines, label, decimals = 1, xText }: LineChartProps) {
  const holder = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const element = holder.current;
    if (!element || x.length === 0) return;
    let chart: uPlot | null = null;
    const draw = () => {
      chart?.destroy();
      chart = new uPlot(
        optionsFor({ x, xLabel, yLabel, lines, label, decimals, xText }, element),
        dataFor(x, lines),
        element,
      );
    };
    draw();
    const watch = new ResizeObserver(() =>
      chart?.setSize({ width: element.clientWidth, height: HEIGHT_CSS }),
    );
    watch.observe(element);
    const shade = matchMedia('(prefers-color-scheme: dark)');
    shade.addEventListener('change', draw);
    return () => {
      watch.disconnect();
      shade.removeEventListener('change', draw);
      chart?.destroy();
    };
  }, [x, xLabel, yLabel, lines, label, decimals, xText]);
  return <div ref={holder} className="chart" role="img" aria-label={label} />;
}

function dataFor(x: number[], lines: ChartLine[]): uPlot.AlignedData {
  return [
    x,
    ...lines.flatMap((line) => [line.values, line.low ?? line.values, line.high ?? line.values]),
  ] as uPlot.AlignedData;
}

function optionsFor(props: LineChartProps, element: HTMLElement): uPlot.Options {
  const style = getComputedStyle(element);
  const colour = (name: string) => style.getPropertyValue(name).trim();
  const ink = colour('--ink');
  const thread = colour('--thread');
  const paint = { points: colour('--madder'), line: colour('--indigo'), level: colour('--woad') };
  const font = `14px ${style.fontFamily}`;
  const series: uPlot.Series[] = [{ label: props.xLabel }];
  const bands: uPlot.Band[] = [];
  props.lines.forEach((line) => {
    const index = series.length;
    const stroke = paint[line.kind];
    series.push({
      label: line.label,
      stroke,
      width: line.kind === 'points' ? 0 : 2,
      spanGaps: true,
      ...(line.kind === 'level' ? { dash: [7, 5] } : {}),
      points: { show: line.kind === 'points', size: 9, fill: stroke },
    });
    const hidden = { show: line.kind !== 'points', stroke: 'transparent', width: 0, spanGaps: true };
    series.push({ ...hidden, points: { show: false } }, { ...hidden, points: { show: false } });
    if (line.kind !== 'points') bands.push({ series: [index + 2, index + 1], fill: `${stroke}22` });
  });
  const all = props.lines
    .flatMap((line) => [...line.values, ...(line.low ?? []), ...(line.high ?? [])])
    .filter((value): value is number => value !== null);
  const [least, most] = [Math.min(...all), Math.max(...all)];
  const room = Math.max((most - least) * 0.15, most * 0.01);
  const axis = {
    stroke: ink,
    font,
    labelFont: font,
    grid: { stroke: thread, width: 1 },
    ticks: { stroke: thread },
  };
  return {
    width: element.clientWidth,
    height: HEIGHT_CSS,
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false }, y: { range: [least - room, most + room] } },
    axes: [
      {
        ...axis,
        label: props.xLabel,
        incrs: WHOLE_STEPS,
        values: (_chart, splits) =>
          splits.map((value) => (props.xText ? props.xText(value) : formatNumber(value))),
      },
      {
        ...axis,
        label: props.yLabel,
        size: 60,
        values: (_chart, splits) => splits.map((value) => formatNumber(value, props.decimals)),
      },
    ],
    series,
    bands,
    hooks: { draw: [(chart) => drawBars(chart, props.lines, paint.points)] },
  };
}

/** Rows are whole: a tick at 2.5 would be written as 3. */
const WHOLE_STEPS = [1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10_000];

/** The 95 % bars of the points. */
function drawBars(chart: uPlot, lines: ChartLine[], stroke: string): void {
  const { ctx } = chart;
  const xs = chart.data[0];
  ctx.save();
  ctx.strokeStyle = stroke;
  ctx.lineWidth = 2 * devicePixelRatio;
  lines.forEach((line) => {
    if (line.kind !== 'points') return;
    line.values.forEach((value, index) => {
      const low = line.low?.[index];
      const high = line.high?.[index];
      const at = xs[index];
      if (value === null || low == null || high == null || at === undefined) return;
      const x = chart.valToPos(at, 'x', true);
      ctx.beginPath();
      ctx.moveTo(x, chart.valToPos(low, 'y', true));
      ctx.lineTo(x, chart.valToPos(high, 'y', true));
      ctx.stroke();
    });
  });
  ctx.restore();
}
