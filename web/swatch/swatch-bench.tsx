import { useEffect, useMemo, useRef, useState, type ReactNode } from 'react';
import type { Sample } from '../../server/api/schemas.ts';
import { EvennessMap } from '../photo/evenness-map.tsx';
import { Found, type Shown } from '../photo/found.tsx';
import { Marks } from '../photo/marks.tsx';
import { PhotoView } from '../photo/photo-view.tsx';
import type { Point } from '../../vision/types.ts';
import { text } from '../lib/text.ts';
import { CorrectPanel } from './correct-panel.tsx';
import { startCorrection, type Correction } from './corrections.ts';
import { FlatSwatch } from './flat-swatch.tsx';
import { PickPhoto } from './pick-photo.tsx';
import { ReferenceQuestion } from './reference-question.tsx';
import { Stages } from './stages.tsx';
import type { Measuring, MeasuringActions } from './use-measuring.ts';

export interface SwatchBenchProps {
  measuring: Measuring;
  actions: MeasuringActions;
  /** null while they are still on their way. */
  samples: Sample[] | null;
  heading?: string;
  /** Said in place of the photo while there is none. */
  emptyWords?: string;
  /** Drawn over the photo, in its pixels. */
  over?: ReactNode;
  /** Asked under the photo once its scale is settled. */
  question?: ReactNode;
  /** Stands under the photo, above the ways to put the reading right. */
  children?: ReactNode;
}

/** The photo, what was found in it, and the ways to bring in another or to put the reading right. */
export function SwatchBench({
  measuring,
  actions,
  samples,
  heading = text('photo.heading'),
  emptyWords,
  over,
  question,
  children,
}: SwatchBenchProps) {
  const [shown, setShown] = useState<Shown>({ rows: true, stitches: true, outlines: true, map: 'none' });
  const [correction, setCorrection] = useState<Correction>({ about: 'nothing' });
  const [isOpen, setIsOpen] = useState(false);
  const photoRef = useRef<HTMLDivElement>(null);
  const foldRef = useRef<HTMLElement>(null);
  const { photo, phase, job, doubt } = measuring;
  const measurement = job?.measurement ?? null;
  // Room for what comes with a photo is there while the sample is on its way: nothing may jump.
  const isExpected = photo !== null || samples === null;
  const busy = phase === 'sending' || phase === 'measuring';

  // Closer to what matters, once it is known where that is.
  const isAsked = doubt === 'unsure' && !busy;
  const lookAtPx = useMemo(() => {
    if (!measurement) return null;
    if (isAsked && measurement.scale) return around(measurement.scale.outlinePx);
    const cloth = [...(measurement.piece?.contourPx ?? []), ...(measurement.overlay?.fabricOutlinePx ?? [])];
    const { widthPx, heightPx } = measurement.photo;
    // Without the cloth there is no place to go closer to: the reference alone would hide what is to be mended.
    return cloth.length > 0
      ? [...cloth, ...(measurement.scale?.outlinePx ?? [])]
      : [
          { x: 0, y: 0 },
          { x: widthPx, y: heightPx },
        ];
  }, [measurement, isAsked]);
  // A photo chosen further down the page is worth nothing out of sight.
  const showPhoto = () => photoRef.current?.scrollIntoView({ block: 'nearest' });
  const correct = (next: Correction) => {
    setCorrection(next);
    if (next.about !== 'nothing') setIsOpen(true);
  };
  // What was pressed is gone once marks are there, and they are gone when it is over: the focus goes along.
  const isMarking = correction.about !== 'nothing';
  const wasMarking = useRef(false);
  useEffect(() => {
    if (isMarking) {
      // What is to be pressed in the end is in sight too where there is room for both; else the photo is.
      foldRef.current?.parentElement?.scrollIntoView({ block: 'nearest' });
      photoRef.current?.scrollIntoView({ block: 'nearest' });
      photoRef.current?.querySelector<SVGGElement>('.handle')?.focus({ preventScroll: true });
    } else if (wasMarking.current) foldRef.current?.focus({ preventScroll: true });
    wasMarking.current = isMarking;
  }, [isMarking]);
  // A map and a mesh of lines on top of each other are neither; and she is asked about the outline alone.
  const drawn =
    shown.map === 'none' && !isAsked
      ? shown
      : { ...shown, rows: false, stitches: false, outlines: shown.outlines || isAsked };
  // Lines between stitches are no help in setting the scale, and their room is needed.
  const marksScale = correction.about === 'scale-rectangle' || correction.about === 'scale-length';
  const mayAsk = measurement && !busy && correction.about === 'nothing';
  const isQuestion = mayAsk && doubt !== null;

  return (
    <section className="sheet" aria-labelledby="swatch-heading">
      <h2 id="swatch-heading">{heading}</h2>
      {!photo && emptyWords ? (
        <p className="empty-photo">{emptyWords}</p>
      ) : (
        <div ref={photoRef} className="photo-place">
          <PhotoView
            src={photo?.src ?? null}
            widthPx={photo?.widthPx ?? 4}
            heightPx={photo?.heightPx ?? 3}
            label={text('photo.label')}
            lookAtPx={lookAtPx}
            strip={busy && <Stages measuring={measuring} onStop={actions.stop} />}
            bar={
              isQuestion ? (
                <ReferenceQuestion
                  doubt={doubt}
                  measurement={measurement}
                  options={measuring.options}
                  onYes={actions.confirmReference}
                  onCorrect={(about) => correct(startCorrection(about, measurement))}
                  onMeasure={actions.measureAgain}
                />
              ) : (
                !marksScale && (
                  <>
                    {mayAsk && question}
                    <ShowRow
                      shown={shown}
                      onChange={setShown}
                      mapThere={(measurement?.localGauge.length ?? 0) > 3}
                    />
                  </>
                )
              )
            }
          >
            {measurement && shown.map !== 'none' && (
              <g className="found">
                <EvennessMap cells={measurement.localGauge} axis={shown.map} />
              </g>
            )}
            {measurement && (
              <Found
                measurement={measurement}
                shown={drawn}
                question={
                  isAsked && !isMarking && measurement.scale
                    ? text('ask.label', { what: text(`scale.${measurement.scale.kind}`) })
                    : undefined
                }
              />
            )}
            {measurement && <Marks correction={correction} onChange={setCorrection} />}
            {over}
          </PhotoView>
        </div>
      )}
      {measuring.wrong && (
        <p className="wrong" role="alert">
          {measuring.wrong}{' '}
          {photo?.id && phase !== 'done' && (
            <button type="button" className="button" onClick={() => actions.measureAgain(measuring.options)}>
              {text('stage.again')}
            </button>
          )}
        </p>
      )}
      {children}
      {isExpected && (
        <details className="fold" open={isOpen} onToggle={(event) => setIsOpen(event.currentTarget.open)}>
          <summary ref={foldRef}>{text('correct.heading')}</summary>
          {measurement && !busy ? (
            <CorrectPanel
              measurement={measurement}
              options={measuring.options}
              correction={correction}
              onChange={correct}
              onMeasure={actions.measureAgain}
            />
          ) : (
            <p>{text('correct.wait')}</p>
          )}
        </details>
      )}
      {isExpected && (
        <details className="fold">
          <summary>{text('flat.heading')}</summary>
          {photo && measurement?.scale && !busy ? (
            <FlatSwatch src={photo.src} measurement={measurement} />
          ) : (
            <p>{text('correct.wait')}</p>
          )}
        </details>
      )}
      {(photo?.isSample ?? samples === null) && (
        <p>
          {text('photo.sampleNow')} {text('photo.noCard')}
        </p>
      )}
      <PickPhoto
        samples={samples ?? []}
        onFile={(file) => {
          actions.takeFile(file);
          showPhoto();
        }}
        onSample={(name) => {
          actions.takeSample(name);
          showPhoto();
        }}
      />
    </section>
  );
}

/** An outline with half its size around it: what a thing is, is seen by what it lies on. */
function around(outline: Point[]): Point[] {
  const middle = (of: 'x' | 'y') => outline.reduce((sum, p) => sum + p[of], 0) / outline.length;
  const [x, y] = [middle('x'), middle('y')];
  return outline.map((p) => ({ x: x + 2 * (p.x - x), y: y + 2 * (p.y - y) }));
}

function ShowRow({
  shown,
  onChange,
  mapThere,
}: {
  shown: Shown;
  onChange: (shown: Shown) => void;
  mapThere: boolean;
}) {
  const ticks = [
    { key: 'rows', line: 'found-row' },
    { key: 'stitches', line: 'found-stitch' },
    { key: 'outlines', line: 'found-reference' },
  ] as const;
  return (
    <fieldset>
      <legend className="only-read">{text('show.label')}</legend>
      <div className="show-row">
        {ticks.map(({ key, line }) => (
          <label key={key} className="tick">
            <input
              type="checkbox"
              checked={shown[key]}
              onChange={(event) => onChange({ ...shown, [key]: event.currentTarget.checked })}
            />
            {text(`show.${key}`)}
            <span className="key-line" aria-hidden="true">
              <svg viewBox="0 0 26 12">
                <path className={line} d="M2 6H24" data-fifth />
              </svg>
            </span>
          </label>
        ))}
        <label className="tick">
          <span className="only-read">{text('show.map')}</span>
          <select
            disabled={!mapThere}
            value={mapThere ? shown.map : 'none'}
            onChange={(event) => onChange({ ...shown, map: event.currentTarget.value as Shown['map'] })}
          >
            <option value="none">{text('show.mapNone')}</option>
            <option value="stitches">{text('show.mapStitches')}</option>
            <option value="rows">{text('show.mapRows')}</option>
          </select>
        </label>
      </div>
    </fieldset>
  );
}
