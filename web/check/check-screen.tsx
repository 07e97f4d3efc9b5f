import { useId, useMemo, useState } from 'react';
import type { Plan, PlanSpec } from '../../calc/index.ts';
import type { Piece } from '../../server/api/schemas.ts';
import { addCheck, getPiece, sentenceOf } from '../lib/api.ts';
import { useFormat } from '../lib/format.ts';
import { LengthInput } from '../lib/length-input.tsx';
import { NumberInput } from '../lib/number-input.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { text } from '../lib/text.ts';
import { AdviceList, StatusLine } from '../swatch/gauge-card.tsx';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { useMeasuring } from '../swatch/use-measuring.ts';
import { checkFacts, readKept, type CheckFacts, type CheckInput, type KeptResult } from './check-facts.ts';
import { CheckHistory } from './check-history.tsx';
import { DriftChart } from './drift-chart.tsx';
import { OnTrackPicture } from './on-track-picture.tsx';
import { OptionList } from './option-list.tsx';

export interface CheckScreenProps {
  piece: Piece;
  spec: PlanSpec;
  plan: Plan;
  onChanged: (piece: Piece) => void;
}

/** Half-way: a photo of the piece, the row she is on, the yarn left; where it will end, and what to do about it. */
export function CheckScreen({ piece, spec, plan, onChanged }: CheckScreenProps) {
  const id = useId();
  const [measuring, actions] = useMeasuring();
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
    fromRow: null,
    toRow: null,
    heightMm: null,
    gramsBefore: Object.fromEntries(colours.map((colour) => [colour.id, boughtGrams(colour, plan, kept)])),
    gramsLeft: {},
    mattersMost: 'alike',
  }));
  const [wrong, setWrong] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  const change = (part: Partial<CheckInput>) => setTold((before) => ({ ...before, ...part }));

  // What the photo shows, unless she says otherwise: it ends at the row she is on.
  const rowsSeen = measurement?.overlay ? measurement.overlay.rowLinesPx.length - 1 : null;
  const input: CheckInput = {
    ...told,
    toRow: told.toRow ?? told.rowsDone,
    fromRow:
      told.fromRow ??
      (told.rowsDone !== null && rowsSeen !== null ? Math.max(1, told.rowsDone - rowsSeen + 1) : null),
  };
  const earlier = useMemo(() => kept.flatMap(({ result }) => result?.bands ?? []), [kept]);
  const facts = checkFacts(spec, plan, input, measurement, earlier);

  const keep = async (found: CheckFacts) => {
    setBusy(true);
    setWrong(null);
    const gauge = measurement?.gauge ?? null;
    const result: KeptResult = {
      stitchesPer10cm: gauge && plain(gauge.stitchesPer10cm),
      rowsPer10cm: gauge && plain(gauge.rowsPer10cm),
      widthMm: found.projection.widthMm.value,
      heightMm: found.projection.heightMm.value,
      drift: found.drift?.status ?? null,
      bands: found.bands
        .filter((band) => band.photo === 'now')
        .map((band) => ({ ...band, photo: measuring.photo?.id ?? 'photo' })),
      gramsBefore: numbersOf(input.gramsBefore),
    };
    try {
      await addCheck(piece.id, {
        photoIds: measuring.photo?.id ? [measuring.photo.id] : [],
        measurementIds: measurement && measuring.job ? [measuring.job.id] : [],
        rowsDone: input.rowsDone,
        gramsLeft: numbersOf(input.gramsLeft),
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
      <div className="bench">
        <div className="bench-side">
          <SwatchBench
            heading={text('check.photo')}
            measuring={measuring}
            actions={actions}
            samples={[]}
            emptyWords={text('check.photoHow')}
          />
          {measurement && (
            <div className="sheet">
              <StatusLine measurement={measurement} />
              <AdviceList advice={measurement.advice} />
            </div>
          )}
        </div>
        <section className="sheet" aria-labelledby={`${id}-told`}>
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
                  : undefined
              }
            />
            <LengthInput
              label={text('check.height')}
              valueMm={told.heightMm}
              optional
              onChange={(heightMm) => change({ heightMm })}
            />
          </div>
          {measurement && (
            <div className="line-up">
              <NumberInput
                label={text('check.fromRow')}
                value={input.fromRow}
                min={1}
                max={plan.rows}
                whole
                optional
                onChange={(fromRow) => change({ fromRow })}
              />
              <NumberInput
                label={text('check.toRow')}
                value={input.toRow}
                min={1}
                max={plan.rows}
                whole
                optional
                onChange={(toRow) => change({ toRow })}
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
      </div>

      <div className="plan-bench">
        {typeof facts === 'string' ? (
          <p className={facts ? 'wrong' : 'placeholder-figures'} role={facts ? 'alert' : undefined}>
            {facts || text('check.first')}
          </p>
        ) : (
          <>
            <section className="sheet" aria-labelledby={`${id}-track`}>
              <h2 id={`${id}-track`}>{text('check.track')}</h2>
              <Verdict facts={facts} />
              <OnTrackPicture plan={plan} projection={facts.projection} drift={facts.drift} />
              {facts.drift && <DriftChart plan={plan} drift={facts.drift} bands={facts.bands} />}
            </section>
            <section className="sheet" aria-labelledby={`${id}-options`}>
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
