import { useId, useMemo, useState } from 'react';
import { plannedGaugeOf, stitchKeyOf, type Plan, type PlanSpec } from '../../calc/index.ts';
import type { Piece } from '../../server/api/schemas.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { addCheck, getPiece, sentenceOf } from '../lib/api.ts';
import { Ribbon } from '../lib/ribbon.tsx';
import { useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { AdviceList, StatusLine } from '../swatch/gauge-card.tsx';
import type { Quad } from '../swatch/corrections.ts';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { useMeasuring } from '../swatch/use-measuring.ts';
import {
  bandsKept,
  checkFacts,
  readKept,
  type CheckFacts,
  type CheckInput,
  type KeptResult,
  type PartPhoto,
} from './check-facts.ts';
import { CheckHistory } from './check-history.tsx';
import { nameOfColour } from './colour-name.ts';
import { DriftChart } from './drift-chart.tsx';
import { OnTrackPicture } from './on-track-picture.tsx';
import { OptionList } from './option-list.tsx';
import { OtherParts } from './other-parts.tsx';
import { OutlineOver, OutlineSizes, SizeOnlyLine } from './piece-outline.tsx';
import { ToldFields, type RowsInView } from './told-fields.tsx';
import { Verdict } from './verdict.tsx';
import { YarnLeft } from './yarn-left.tsx';

export interface CheckScreenProps {
  piece: Piece;
  spec: PlanSpec;
  plan: Plan;
  onChanged: (piece: Piece) => void;
}

const NO_ROWS: RowsInView = { fromRow: null, toRow: null };

/** Half-way: a photo of the piece, the row she is on, the yarn left; where it will end, and what to do about it. */
export function CheckScreen({ piece, spec, plan, onChanged }: CheckScreenProps) {
  const id = useId();
  const say = useSay();
  // Stitch and gauge are hers since the plan, so that nobody need guess them from the photo.
  const stitch = stitchKeyOf(spec.stitch);
  const { stitchesPer10cm, rowsPer10cm } = plannedGaugeOf(plan);
  const always = useMemo(
    () => ({ outline: true, stitch, plannedGauge: { stitchesPer10cm, rowsPer10cm } }),
    [stitch, stitchesPer10cm, rowsPer10cm],
  );
  const [measuring, actions] = useMeasuring(always);
  const [otherParts, setOtherParts] = useState<PartPhoto[]>([]);
  const [corners, setCorners] = useState<Quad | null>(null);
  const [rowsInView, setRowsInView] = useState<RowsInView>(NO_ROWS);
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
    rowOneAt: 'bottom',
    mattersMost: 'alike',
  }));
  const [wrong, setWrong] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  // What was kept last, so that it is not kept again by another press.
  const [keptAs, setKeptAs] = useState<string | null>(null);
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
    measurement && measuring.doubt !== 'unsure' && measuring.photo?.id && measuring.job
      ? {
          photoId: measuring.photo.id,
          measurementId: measuring.job.id,
          measurement,
          ...(measurement.counted.rows && rowsInView === NO_ROWS ? NO_ROWS : shownRows),
        }
      : null;
  const parts = now ? [...otherParts, now] : otherParts;
  const keptBands = useMemo(() => bandsKept(kept.map(({ result }) => result)), [kept]);
  // A photo that was kept just now is still on the screen, and says nothing twice.
  const earlier = keptBands.filter((band) => !parts.some(({ photoId }) => photoId === band.photo));
  const facts = checkFacts(spec, told, parts, earlier);
  // Of several photos the size may be another's.
  const isShown = typeof facts !== 'string' && facts.piece !== null && facts.piece === measurement?.piece;

  const asNow = JSON.stringify([told, parts.map(({ photoId, fromRow, toRow }) => [photoId, fromRow, toRow])]);
  const keep = async (found: CheckFacts) => {
    setBusy(true);
    setWrong(null);
    const { gauge } = found;
    const result: KeptResult = {
      stitchesPer10cm: gauge ? plain(gauge.stitchesPer10cm) : gaugeByWidth(found),
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
      setKeptAs(asNow);
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
                onItsSide={isShown && facts.onItsSide}
                isWhole={!isShown || facts.piece?.status !== 'ok' || facts.sizeNow.widthMm !== null}
                isOneOfSeveral={!alone}
                options={measuring.options}
                corners={corners}
                onCorners={setCorners}
                onMeasure={actions.measureAgain}
              />
            )}
          </SwatchBench>
          <OtherParts
            parts={otherParts}
            onLeaveOut={(photoId) => setOtherParts((list) => list.filter((part) => part.photoId !== photoId))}
            onAnother={
              now &&
              ((file) => {
                // The rows that were shown for it are its own, whatever row she is on by the next part.
                const asShown = { ...now, ...shownRows };
                setOtherParts((list) => [...list.filter((part) => part.photoId !== now.photoId), asShown]);
                setRowsInView(NO_ROWS);
                setCorners(null);
                actions.takeFile(file);
              })
            }
          />
          {measurement && (
            <div className="sheet">
              {isSizeOnly(measurement) ? (
                <SizeOnlyLine />
              ) : (
                <StatusLine measurement={measurement} doubt={measuring.doubt} isStitchAsked={false} />
              )}
              <AdviceList advice={measurement.advice} />
            </div>
          )}
        </div>
        <ToldFields
          plan={plan}
          colours={colours}
          told={told}
          onChange={change}
          measurement={measurement}
          rowsByHeight={typeof facts === 'string' ? null : facts.rowsDone.fromHeight}
          shownRows={shownRows}
          onRows={setRowsInView}
        />
        {typeof facts === 'string' ? (
          <p
            className={`check-track ${facts ? 'wrong' : 'placeholder-figures'}`}
            role={facts ? 'alert' : undefined}
          >
            {facts ||
              (measurement?.counted.rows && measurement.piece?.status === 'ok' && alone
                ? text('check.firstUnlike', { stitches: plan.stitches })
                : text('check.first'))}
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
              {facts.leftOut.map((photoId) => (
                <p key={photoId} className="wrong" role="status">
                  {photoId === now?.photoId
                    ? text('check.leftOut')
                    : text('check.leftOutPart', {
                        n: otherParts.findIndex((part) => part.photoId === photoId) + 1,
                      })}
                </p>
              ))}
              <Verdict facts={facts} />
              <OnTrackPicture
                plan={plan}
                projection={facts.projection}
                drift={facts.drift}
                sizeNow={facts.sizeNow}
              />
              {facts.bands.length + earlier.length > 0 && (
                <DriftChart
                  plan={plan}
                  drift={facts.drift}
                  across={facts.across}
                  bands={[...earlier, ...facts.bands]}
                >
                  {facts.driftRestsOnRowOne && (
                    <Ribbon
                      label={text('check.rowOneAt')}
                      showLabel
                      value={told.rowOneAt}
                      onChange={(rowOneAt) => change({ rowOneAt })}
                      options={[
                        { value: 'bottom', label: text('check.rowOneBottom') },
                        { value: 'top', label: text('check.rowOneTop') },
                      ]}
                    />
                  )}
                </DriftChart>
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
              <OptionList options={facts.options} colourName={(one) => nameOfColour(one, colours)} />
              <button
                type="button"
                className="button button-main"
                disabled={busy || keptAs === asNow}
                onClick={() => void keep(facts)}
              >
                {text(keptAs === asNow ? 'check.kept' : 'check.keep')}
              </button>
              <Wrong what={wrong} />
            </section>
          </>
        )}
      </div>
      <CheckHistory piece={piece} plan={plan} kept={kept} onChanged={onChanged} />
    </>
  );
}

/** A photo of the whole piece gives its size, if not its stitches. */
const isSizeOnly = ({ status, piece }: Measurement): boolean =>
  status === 'refused' && piece?.status === 'ok';

/** Stitches by the width of the piece, where none could be counted. */
function gaugeByWidth({ sizeNow, projection }: CheckFacts): KeptResult['stitchesPer10cm'] {
  if (!sizeNow.widthMm) return null;
  const { value, standardUncertainty } = projection.stitchWidthMm;
  return { value: 100 / value, standardUncertainty: (100 / value) * (standardUncertainty / value) };
}

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
