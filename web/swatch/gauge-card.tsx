import { MM_PER_10CM, MM_PER_4IN } from '../../calc/index.ts';
import type { Advice, Measured } from '../../vision/types.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { countInWords } from '../lib/count-in-words.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { spreadOf } from '../lib/spread-of.ts';
import { hasText, text } from '../lib/text.ts';
import { agreementOf } from './agreement.ts';
import type { ReferenceDoubt } from './reference-doubt.ts';
import { GaugeStrip } from './gauge-strip.tsx';

export interface PieceGauge {
  stitchesPer10cm: Measured;
  rowsPer10cm: Measured;
}

const TEN_CM_TO_FOUR_IN = MM_PER_4IN / MM_PER_10CM; // 1.6 % more stitches in 4 in than in 10 cm

/** Stitches and rows with their spread, per 10 cm and per 4 in, the maker's unit first. */
export function GaugeFigures({ gauge }: { gauge: PieceGauge }) {
  return (
    <>
      <dl className="gauge-figures">
        <Figure name={text('gauge.stitches')} measured={gauge.stitchesPer10cm} axis="stitches" />
        <Figure name={text('gauge.rows')} measured={gauge.rowsPer10cm} axis="rows" />
      </dl>
      <details className="small-fold">
        <summary>
          {text('gauge.confidence')} <span className="as-link">{text('gauge.confidenceWhat')}</span>
        </summary>
        <p className="field-help">{text('gauge.confidenceLong')}</p>
      </details>
    </>
  );
}

function Figure({ name, measured, axis }: { name: string; measured: Measured; axis: 'stitches' | 'rows' }) {
  const inInches = usePreferences().preferences.lengths === 'in';
  const spread = spreadOf(measured);
  const write = (factor: number) => ({
    value: formatNumber(measured.value * factor, 1),
    spread: formatNumber(spread * factor, 1),
  });
  const per10cm = write(1);
  const per4in = write(TEN_CM_TO_FOUR_IN);
  const [first, second] = inInches ? [per4in, per10cm] : [per10cm, per4in];
  const units = [text('unit.per10cm'), text('unit.per4in')];
  if (inInches) units.reverse();
  return (
    <div className="gauge-figure">
      <dt>{name}</dt>
      <dd className="gauge-first">
        <strong data-testid={`${axis}-first`}>{first.value}</strong> <span>± {first.spread}</span>{' '}
        <span className="gauge-unit">{units[0]}</span>
      </dd>
      <dd className="gauge-second">
        {text('gauge.of', second)} {units[1]}
      </dd>
      <dd>
        <GaugeStrip
          per10cm={measured.value}
          axis={axis}
          label={text(axis === 'stitches' ? 'gauge.tape' : 'gauge.tapeRows', { value: per10cm.value })}
        />
      </dd>
    </div>
  );
}

/** ok, unsure or refused: a word, a sign and a colour together. */
export function StatusLine({
  measurement,
  doubt,
  isStitchAsked,
}: {
  measurement: Measurement;
  /** Of its reference, until she has answered. */
  doubt: ReferenceDoubt | null;
  /** Whether she has yet to say which stitch it is. */
  isStitchAsked: boolean;
}) {
  const { status } = measurement;
  const long = doubt === 'unsure' ? 'status.unsureAsk' : (`status.${status}Long` as const);
  const counted = status === 'refused' ? countedSides(measurement) : null;
  if (counted !== null) {
    return (
      <p className="status" data-status="unsure" data-testid="status">
        <StatusSign status="unsure" />
        <strong>{text('status.countedOnly')}</strong>
        <span>{text('status.countedOnlyLong', { what: counted })}</span>
      </p>
    );
  }
  return (
    <p className="status" data-status={status} data-testid="status">
      <StatusSign status={status} />
      <strong>{text(`status.${status}`)}</strong>
      <span>
        {status !== 'ok' ? (
          text(long)
        ) : isStitchAsked ? (
          text('status.okAsk')
        ) : (
          <Evenly measurement={measurement} />
        )}
      </span>
    </p>
  );
}

/** How many places were read, and how many of them bear the numbers out: the sentence follows the figures. */
function Evenly({ measurement }: { measurement: Measurement }) {
  const format = useFormat();
  const { places, near } = agreementOf(measurement);
  return places === 0
    ? text('status.okPlain')
    : text('status.okLong', { n: places, share: format.percent(near / places) });
}

export function StatusSign({ status }: { status: Measurement['status'] }) {
  const path = {
    ok: 'M4 9l3.5 3.5L14 5.5',
    unsure: 'M9 4v6.5M9 13.6v.4',
    refused: 'M5 5l8 8M13 5l-8 8',
  }[status];
  return (
    <svg viewBox="0 0 18 18" className="status-sign" aria-hidden="true">
      <path d={path} />
    </svg>
  );
}

/** Advice in the catalogue's words where it has them, else in those it came with. */
export function AdviceList({ advice }: { advice: Advice[] }) {
  if (advice.length === 0) return null;
  return (
    <ul className="advice">
      {advice.map((one) => {
        const key = `advice.${one.code}`;
        return <li key={one.code + one.message}>{hasText(key) ? text(key) : one.message}</li>;
      })}
    </ul>
  );
}

/** Stitches and rows from edge to edge, as far as they were counted; null where neither was. */
function countedSides({ counted: { stitches, rows } }: Measurement): string | null {
  const a = stitches && countInWords(stitches, 'gauge.countedStitches', 'gauge.eitherStitches');
  const b = rows && countInWords(rows, 'gauge.countedRows', 'gauge.eitherRows');
  return a !== null && b !== null ? text('gauge.and', { a, b }) : (a ?? b);
}

function notCounted({ stitches, rows }: Measurement['counted']) {
  if (!stitches && !rows) return 'gauge.notCounted';
  return stitches ? 'gauge.rowsNotCounted' : 'gauge.stitchesNotCounted';
}

/** What the scale was read from, how sure it is, what was counted from edge to edge, and what it takes to count more. */
export function HowMeasured({ measurement }: { measurement: Measurement }) {
  const format = useFormat();
  const { scale, counted, gauge } = measurement;
  const sides = countedSides(measurement);
  return (
    <p className="how-measured">
      {scale &&
        text('scale.took', {
          what: text(`scale.${scale.kind}`),
          share: format.percent(2 * scale.relativeUncertainty, 1),
        })}{' '}
      {scale && scale.tiltDeg >= 3 && text('scale.tilt', { angle: formatNumber(scale.tiltDeg) })}{' '}
      {sides !== null && text('gauge.counted', { what: sides })}{' '}
      {gauge && !(counted.stitches && counted.rows) && text(notCounted(counted))}
    </p>
  );
}
