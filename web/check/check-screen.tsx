import { useId, useMemo, useState } from 'react';
import type { Plan, PlanSpec } from '../../calc/index.ts';
import type { Piece } from '../../server/api/schemas.ts';
import { addCheck, getPiece, photoImageUrl, sentenceOf } from '../lib/api.ts';
import { useFormat } from '../lib/format.ts';
import { LengthInput } from '../lib/length-input.tsx';
import { NumberInput } from '../lib/number-input.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { AdviceList, StatusLine } from '../swatch/gauge-card.tsx';
import type { Quad } from '../swatch/corrections.ts';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { useMeasuring } from '../swatch/use-measuring.ts';
import {
  checkFacts,
  readKept,
  type CheckFacts,
  type CheckInput,
  type KeptResult,
  type PartPhoto,
} from './check-facts.ts';
import { CheckHistory } from './check-history.tsx';
import { DriftChart } from './drift-chart.tsx';
import { OnTrackPicture } from './on-track-picture.tsx';
import { OptionList } from './option-list.tsx';
import { OutlineOver, OutlineSizes } from './piece-outline.tsx';

export interface CheckScreenProps {
  piece: Piece;
  spec: PlanSpec;
  plan: Plan;
  onChanged: (piece: Piece) => void;
}

const WITH_OUTLINE = { outline: true };
const NO_ROWS = { fromRow: null, toRow: null };

/** Half-way: a photo of the piece, the row she is on, the yarn left; where it will end, and what to do about it. */
export function CheckScreen({ piece, spec, plan, onChanged }: CheckScreenProps) {
  const id = useId();
  const say = useSay();
  const [measuring, actions] = useMeasuring(WITH_OUTLINE);
  const [otherParts, setOtherParts] = useState<PartPhoto[]>([]);
  const [corners, setCorners] = useState<Quad | null>(null);
  const [rowsInView, setRowsInView] = useState<{ fromRow: number | null; toRow: number | null }>(NO_ROWS);
  const measurement = measuring.job?.measurement ?? null;
  const colours = useMemo(() => spec.colours ?? [], [spec.colours]);
  const kept = useMemo(
    () =>
      piece.checks
        .filter((check) => check.deletedAt === null)
        .map((check) => ({ check, result: readKept(check) })),
    [piece.checks],
  );
  const [told, setTold] = useState<CheckInput>(() => ({
    rowsDone: null,
    heightMm: null,
    borderRoundsDone: 0,
    gramsBefore: Object.fromEntries(colours.map((colour) => [colour.id, boughtGrams(colour, plan, kept)])),
    gramsLeft: {},
    mattersMost: 'alike',
  }));
  const [wrong, setWrong] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  const change = (part: Partial<CheckInput>) => setTold((before) => ({ ...before, ...part }));

  // What the photo shows, unless she says otherwise: it ends at the row she is on.
  const rowsSeen = measurement?.overlay ? measurement.overlay.rowLinesPx.length - 1 : null;
  const alone = otherParts.length === 0;
  const shownRows = {
    toRow: rowsInView.toRow ?? (alone ? told.rowsDone : null),
    fromRow:
      rowsInView.fromRow ??
      (alone && told.rowsDone !== null && rowsSeen !== null
        ? Math.max(1, told.rowsDone - rowsSeen + 1)
        : null),
  };
  const now: PartPhoto | null =
    measurement && measuring.photo?.id && measuring.job
      ? {
          photoId: measuring.photo.id,
          measurementId: measuring.job.id,
          measurement,
          ...(measurement.counted.rows && rowsInView === NO_ROWS ? NO_ROWS : shownRows),
        }
      : null;
  const parts = now ? [...otherParts, now] : otherParts;
  const earlier = useMemo(() => kept.flatMap(({ result }) => result?.bands ?? []), [kept]);
  const facts = checkFacts(spec, told, parts, earlier);

  const keep = async (found: CheckFacts) => {
    setBusy(true);
    setWrong(null);
    const { gauge } = found;
    const result: KeptResult = {
      stitchesPer10cm: gauge && plain(gauge.stitchesPer10cm),
      rowsPer10cm: gauge && plain(gauge.rowsPer10cm),
      widthMm: found.projection.widthMm.value,
      heightMm: found.projection.heightMm.value,
      drift: found.bands.length + earlier.length > 0 ? found.drift.status : null,
      // Bands of an outline hold for its own day only: unlike stitches, an outline stretches.
      bands: found.bands.filter((band) => band.photo !== 'outline'),
      gramsBefore: numbersOf(told.gramsBefore),
    };
    try {
      await addCheck(piece.id, {
        photoIds: parts.map((part) => part.photoId),
        measurementIds: parts.map((part) => part.measurementId),
        rowsDone: found.rowsDone.value,
        gramsLeft: numbersOf(told.gramsLeft),
        result: { ...result },
      });
      onChanged(await getPiece(piece.id));
    } catch (error) {
      setWrong(sentenceOf(error));
    }
    setBusy(false);
  };

  return (
    <>
      <div className="check-bench">
        <div className="bench-side check-photo">
          <SwatchBench
            heading={text('check.photo')}
            measuring={measuring}
            actions={actions}
            samples={[]}
            emptyWords={text('check.photoHow')}
            over={
              measurement && <OutlineOver measurement={measurement} corners={corners} onChange={setCorners} />
            }
          >
            {measurement && (
              <OutlineSizes
                measurement={measurement}
                options={measuring.options}
                corners={corners}
                onCorners={setCorners}
                onMeasure={actions.measureAgain}
              />
            )}
          </SwatchBench>
          <Parts
            parts={otherParts}
            onLeaveOut={(photoId) => setOtherParts((list) => list.filter((part) => part.photoId !== photoId))}
            onAnother={
              now &&
              ((file) => {
                setOtherParts((list) => [...list.filter((part) => part.photoId !== now.photoId), now]);
                setRowsInView(NO_ROWS);
                setCorners(null);
                actions.takeFile(file);
              })
            }
          />
          {measurement && (
            <div className="sheet">
              <StatusLine measurement={measurement} />
              <AdviceList advice={measurement.advice} />
            </div>
          )}
        </div>
        <section className="sheet check-told" aria-labelledby={`${id}-told`}>
          <h2 id={`${id}-told`}>{text('check.told')}</h2>
          <div className="line-up">
            <NumberInput
              label={text('check.rowsDone', { n: plan.rows })}
              value={told.rowsDone}
              min={0}
              max={plan.rows}
              whole
              optional
              onChange={(rowsDone) => change({ rowsDone })}
              help={
                measurement?.counted.rows
                  ? text('check.rowsCounted', { n: Math.round(measurement.counted.rows.value) })
                  : typeof facts !== 'string' && facts.rowsDone.fromHeight
                    ? text('check.rowsFromHeight', { n: Math.round(facts.rowsDone.fromHeight.value) })
                    : undefined
              }
            />
            <LengthInput
              label={text('check.height')}
              valueMm={told.heightMm}
              optional
              onChange={(heightMm) => change({ heightMm })}
            />
            {plan.border && (
              <NumberInput
                label={text('check.border')}
                value={told.borderRoundsDone}
                min={0}
                max={plan.border.rounds.length}
                whole
                onChange={(rounds) => change({ borderRoundsDone: rounds ?? 0 })}
              />
            )}
          </div>
          {measurement && (
            <div className="line-up">
              <NumberInput
                label={text('check.fromRow')}
                value={shownRows.fromRow}
                min={1}
                max={plan.rows}
                whole
                optional
                onChange={(fromRow) => setRowsInView({ ...shownRows, fromRow })}
              />
              <NumberInput
                label={text('check.toRow')}
                value={shownRows.toRow}
                min={1}
                max={plan.rows}
                whole
                optional
                onChange={(toRow) => setRowsInView({ ...shownRows, toRow })}
              />
            </div>
          )}
          <fieldset className="plan-group">
            <legend>{text('check.yarn')}</legend>
            <p className="field-help">{text('check.yarnHow')}</p>
            {colours.map((colour) => (
              <div key={colour.id} className="line-up">
                <NumberInput
                  label={text('check.before', { name: colour.name ?? colour.id })}
                  value={told.gramsBefore[colour.id] ?? null}
                  max={100_000}
                  optional
                  onChange={(grams) => change({ gramsBefore: { ...told.gramsBefore, [colour.id]: grams } })}
                />
                <NumberInput
                  label={text('check.left', { name: colour.name ?? colour.id })}
                  value={told.gramsLeft[colour.id] ?? null}
                  max={100_000}
                  optional
                  onChange={(grams) => change({ gramsLeft: { ...told.gramsLeft, [colour.id]: grams } })}
                />
              </div>
            ))}
          </fieldset>
        </section>
        {typeof facts === 'string' ? (
          <p
            className={`check-track ${facts ? 'wrong' : 'placeholder-figures'}`}
            role={facts ? 'alert' : undefined}
          >
            {facts || text('check.first')}
          </p>
        ) : (
          <>
            <section className="sheet check-track" aria-labelledby={`${id}-track`}>
              <h2 id={`${id}-track`}>{text('check.track')}</h2>
              {facts.rowsDone.said && (
                <p className="wrong" role="status">
                  {say(facts.rowsDone.said)}
                </p>
              )}
              <Verdict facts={facts} />
              <OnTrackPicture
                plan={plan}
                projection={facts.projection}
                drift={facts.drift}
                sizeNow={facts.sizeNow}
              />
              {facts.bands.length + earlier.length > 0 && (
                <DriftChart plan={plan} drift={facts.drift} bands={[...earlier, ...facts.bands]} />
              )}
            </section>
            <section className="sheet check-options" aria-labelledby={`${id}-options`}>
              <h2 id={`${id}-options`}>{text('check.options')}</h2>
              <YarnLeft facts={facts} colours={colours} />
              <Ribbon
                label={text('check.matters')}
                showLabel
                value={told.mattersMost}
                onChange={(mattersMost) => change({ mattersMost })}
                options={[
                  { value: 'alike', label: text('check.alike') },
                  { value: 'size', label: text('check.size') },
                  { value: 'yarn', label: text('check.yarnFirst') },
                  { value: 'ripping', label: text('check.ripping') },
                ]}
              />
              <OptionList options={facts.options} colourName={(one) => nameOf(one, colours)} />
              <button
                type="button"
                className="button button-main"
                disabled={busy}
                onClick={() => void keep(facts)}
              >
                {text('check.keep')}
              </button>
              {wrong && (
                <p className="wrong" role="alert">
                  {wrong}
                </p>
              )}
            </section>
          </>
        )}
      </div>
      <CheckHistory piece={piece} plan={plan} kept={kept} onChanged={onChanged} />
    </>
  );
}

/** Photos of other parts of the piece, and the way to add one. */
function Parts({
  parts,
  onLeaveOut,
  onAnother,
}: {
  parts: PartPhoto[];
  onLeaveOut: (photoId: string) => void;
  onAnother: ((file: File) => void) | null;
}) {
  if (parts.length === 0 && !onAnother) return null;
  return (
    <section className="sheet">
      <p className="field-help">{text('check.anotherHow')}</p>
      {parts.length > 0 && (
        <ul className="piece-cards">
          {parts.map(({ photoId, fromRow, toRow }, i) => (
            <li key={photoId} className="history-card">
              <img src={photoImageUrl(photoId, 480)} alt="" />
              <p>
                {text('check.part', {
                  n: i + 1,
                  rows:
                    fromRow !== null && toRow !== null
                      ? text('check.partRows', { from: fromRow, to: toRow })
                      : text('check.partUnsaid'),
                })}
              </p>
              <button type="button" className="button button-quiet" onClick={() => onLeaveOut(photoId)}>
                {text('check.partAway', { n: i + 1 })}
              </button>
            </li>
          ))}
        </ul>
      )}
      {onAnother && (
        <label className="button">
          {text('check.another')}
          <input
            type="file"
            accept="image/*,.heic,.heif"
            className="only-read"
            onChange={(event) => {
              const file = event.currentTarget.files?.[0];
              event.currentTarget.value = '';
              if (file) onAnother(file);
            }}
          />
        </label>
      )}
    </section>
  );
}

function Verdict({ facts }: { facts: CheckFacts }) {
  const format = useFormat();
  const { projection } = facts;
  const line = (axis: 'width' | 'height') =>
    text(`verdict.${projection.verdict[axis]}`, {
      axis: text(axis === 'width' ? 'size.width' : 'size.height'),
      length: format.length(axis === 'width' ? projection.widthMm.value : projection.heightMm.value),
      off: format.length(Math.abs(projection.differenceMm[axis].value)),
      spread: format.length((projection.differenceMm[axis].high95 - projection.differenceMm[axis].low95) / 2),
    });
  return (
    <div className="plan-part" data-testid="verdict" aria-live="polite">
      <p>{text('check.rowsLeft', { n: projection.rowsLeft })}</p>
      <p>
        <strong>{line('width')}</strong>
      </p>
      <p>
        <strong>{line('height')}</strong>
      </p>
    </div>
  );
}

function YarnLeft({ facts, colours }: { facts: CheckFacts; colours: NonNullable<PlanSpec['colours']> }) {
  const format = useFormat();
  if (facts.yarn.length === 0) return null;
  return (
    <ul className="yarn-sentences">
      {facts.yarn.map((one) => (
        <li key={one.colour}>
          {text('check.remaining', {
            name: nameOf(one.colour, colours),
            grams: format.grams(one.remainingGrams.value),
            chance: format.percent(one.chanceOfRunningOut),
          })}{' '}
          {one.skeinsToBuy !== null && one.skeinsToBuy > 0 && text('check.buy', { n: one.skeinsToBuy })}
        </li>
      ))}
    </ul>
  );
}

const nameOf = (id: string, colours: NonNullable<PlanSpec['colours']>) =>
  colours.find((colour) => colour.id === id)?.name ?? id;

const plain = ({ value, standardUncertainty }: { value: number; standardUncertainty: number }) => ({
  value,
  standardUncertainty,
});

const numbersOf = (from: Record<string, number | null>): Record<string, number> =>
  Object.fromEntries(Object.entries(from).filter((entry): entry is [string, number] => entry[1] !== null));

/** Grams there were at the start: as told at the last check, else the skeins the plan asks for. */
function boughtGrams(
  colour: NonNullable<PlanSpec['colours']>[number],
  plan: Plan,
  kept: { result: KeptResult | null }[],
): number | null {
  const before = kept
    .map(({ result }) => result?.gramsBefore[colour.id])
    .findLast((grams) => grams !== undefined);
  if (before !== undefined) return before;
  const planned = plan.yarn?.perColour.find((one) => one.colour === colour.id)?.skeins;
  return planned ? planned.forSafety95 * planned.skeinGrams : null;
}
