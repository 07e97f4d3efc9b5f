import { lazy, Suspense, useEffect, useId, useState } from 'react';
import type { MeasurementJob, Photo, Piece } from '../../server/api/schemas.ts';
import { deletePiece, getMeasurement, getPhoto, getPiece, sentenceOf } from '../lib/api.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { goTo, hrefOf, PIECE_PARTS, type PiecePart } from '../lib/route.ts';
import { text } from '../lib/text.ts';
import { AnswerSheet } from '../plan/answer-sheet.tsx';
import { ColourFields } from '../plan/colour-fields.tsx';
import { DyeLotFields } from '../plan/dye-lot-fields.tsx';
import { FIRST_DRAFT, fromSpec } from '../plan/draft.ts';
import { PlanForm } from '../plan/plan-form.tsx';
import { PlanSheet } from '../plan/plan-sheet.tsx';
import { UnravelFields } from '../plan/unravel-fields.tsx';
import { WeighFields } from '../plan/weigh-fields.tsx';
import { YarnTable } from '../plan/yarn-table.tsx';
import { AskStitch } from '../parts/ask-stitch.tsx';
import { swatchOf } from '../parts/swatch-of.ts';
import { useWork } from '../parts/use-work.ts';
import type { GaugeChoice } from '../swatch/gauge-choice.ts';
import { GaugeSheet } from '../swatch/gauge-sheet.tsx';
import { useDroppedPhoto } from '../swatch/pick-photo.tsx';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { TakeAlong } from './take-along.tsx';
import { useAutoKeep } from './use-auto-keep.ts';

// Half-way is far from the first view: what it needs is fetched when it is opened.
const CheckScreen = lazy(() =>
  import('../check/check-screen.tsx').then((part) => ({ default: part.CheckScreen })),
);

interface Loaded {
  piece: Piece;
  photo: Photo | null;
  job: MeasurementJob | null;
}

/** One piece: its swatch, plan, yarn and checks. Opens it, then hands it to the editor. */
export function PieceScreen({ pieceId, part }: { pieceId: string; part: PiecePart }) {
  const [loaded, setLoaded] = useState<Loaded | null>(null);
  const [wrong, setWrong] = useState<string | null>(null);
  const [round, setRound] = useState(0);

  useEffect(() => {
    let gone = false;
    setLoaded(null);
    setWrong(null);
    void (async () => {
      const piece = await getPiece(pieceId);
      const main = piece.swatches.find((swatch) => swatch.role === 'main');
      // A photo or a measurement may have been tidied away; the piece is still good without it.
      const photo = main?.photoId ? await getPhoto(main.photoId).catch(() => null) : null;
      const job = main?.measurementId ? await getMeasurement(main.measurementId).catch(() => null) : null;
      if (!gone) setLoaded({ piece, photo, job });
    })().catch((error: unknown) => !gone && setWrong(sentenceOf(error)));
    return () => {
      gone = true;
    };
  }, [pieceId, round]);

  if (wrong)
    return (
      <p className="wrong" role="alert">
        {wrong} <a href="#/pieces">{text('piece.back')}</a>
      </p>
    );
  if (!loaded) return <Opening />;
  return (
    <PieceEditor
      key={`${loaded.piece.id} ${round}`}
      {...loaded}
      part={part}
      onReload={() => setRound((n) => n + 1)}
    />
  );
}

/** Takes the room of what is coming, so that nothing below it jumps. */
function Opening() {
  return <p className="opening">{text('app.reading')}</p>;
}

function PieceEditor({
  piece: first,
  photo,
  job,
  part,
  onReload,
}: Loaded & { part: PiecePart; onReload: () => void }) {
  const id = useId();
  const { preferences } = usePreferences();
  const [piece, setPiece] = useState(first);
  const main = piece.swatches.find((swatch) => swatch.role === 'main') ?? null;
  const [firstChoice] = useState<GaugeChoice>(() =>
    main?.gauge ? { from: 'kept', gauge: main.gauge, gaugeFrom: main.gaugeFrom } : { from: 'measurement' },
  );
  const work = useWork(fromSpec(first.plan) ?? FIRST_DRAFT, firstChoice);
  const { measuring, actions, planned } = work;
  const [name, setName] = useState(first.name);
  // As soon as it is opened, and until a photo of her own takes its place.
  const isSample = measuring.photo ? measuring.photo.isSample : Boolean(photo?.sample);
  const over = useDroppedPhoto(actions.takeFile);

  const { takeKept } = actions;
  useEffect(() => {
    // A gauge that was kept was found right then.
    if (photo) takeKept(photo, job, firstChoice.from === 'kept');
  }, [photo, job, takeKept, firstChoice.from]);

  // Nothing is kept while a photo is on its way, or before the kept one is on the screen.
  const isSettled =
    measuring.phase !== 'sending' && measuring.phase !== 'measuring' && !(photo && !measuring.photo);
  const swatch = swatchOf(work, main);
  const { saving, wrong, setWrong, knowRevision } = useAutoKeep(first, {
    isSettled,
    wanted: {
      name: name.trim() || text('piece.unnamed'),
      units: preferences.lengths,
      terms: preferences.terms,
      swatches: [swatch, ...piece.swatches.filter((one) => one.id !== swatch.id)],
      plan: planned.plan ? work.spec : piece.plan,
    },
    onKept: setPiece,
  });

  const remove = async () => {
    try {
      await deletePiece(first.id);
      goTo({ screen: 'pieces' });
    } catch (error) {
      setWrong(sentenceOf(error));
    }
  };

  return (
    <>
      {over && <div className="drop-over">{text('photo.dropHere')}</div>}
      <div className="screen-head">
        <h1>
          <label className="only-read" htmlFor={`${id}-name`}>
            {text('piece.name')}
          </label>
          <input
            id={`${id}-name`}
            className="piece-name"
            type="text"
            maxLength={120}
            autoComplete="off"
            value={name}
            onChange={(event) => setName(event.currentTarget.value)}
          />
        </h1>
        <p role="status" className="field-help">
          {text(`piece.${saving}`)}
        </p>
      </div>
      {wrong && (
        <p className="wrong" role="alert">
          {wrong === 'stale' ? text('piece.stale') : wrong}{' '}
          {wrong === 'stale' && (
            <button type="button" className="button" onClick={onReload}>
              {text('piece.reload')}
            </button>
          )}
        </p>
      )}
      <nav className="piece-parts" aria-label={text('piece.parts')}>
        {PIECE_PARTS.map((one) => (
          <a
            key={one}
            href={hrefOf({ screen: 'piece', pieceId: first.id, part: one })}
            aria-current={one === part ? 'page' : undefined}
          >
            {text(`piece.${one}`)}
          </a>
        ))}
      </nav>

      {isSample && <p className="welcome">{text(`sample.${part}`)}</p>}

      {part === 'swatch' && (
        <div className="bench">
          <SwatchBench
            measuring={measuring}
            actions={actions}
            samples={[]}
            question={<AskStitch work={work} />}
          />
          <GaugeSheet
            measuring={measuring}
            choice={work.choice}
            onChoose={work.setChoice}
            gauge={work.gauge}
            onStitch={work.onStitch}
            isStitchAsked={work.isStitchAsked}
            onMeasure={actions.measureAgain}
          />
        </div>
      )}
      {part === 'plan' && (
        <div className="plan-bench">
          <div className="bench-side">
            <AnswerSheet work={work} />
            <section className="sheet no-print" aria-labelledby={`${id}-choices`}>
              <h2 id={`${id}-choices`}>{text('plan.choices')}</h2>
              <PlanForm draft={work.draft} onChange={work.change} counted={work.counted} planned={planned} />
            </section>
          </div>
          <PlanSheet work={work}>
            {planned.plan && <YarnTable plan={planned.plan} ready={planned.ready} />}
          </PlanSheet>
        </div>
      )}
      {part === 'yarn' && (
        <div className="plan-bench">
          <section className="sheet" aria-labelledby={`${id}-yarns`}>
            <h2 id={`${id}-yarns`}>{text('piece.yarnChoices')}</h2>
            <ColourFields draft={work.draft} onChange={work.change} />
            <WeighFields draft={work.draft} onChange={work.change} counted={work.counted} />
            <UnravelFields draft={work.draft} onChange={work.change} />
            <DyeLotFields draft={work.draft} onChange={work.change} />
          </section>
          {planned.plan ? (
            <section className="sheet" aria-label={text('yarn.heading')}>
              <YarnTable plan={planned.plan} ready={planned.ready} detailed />
            </section>
          ) : (
            <p className="placeholder-figures">{planned.wrong}</p>
          )}
        </div>
      )}

      {part === 'checks' &&
        (planned.plan && work.spec ? (
          <Suspense fallback={<Opening />}>
            <CheckScreen
              piece={piece}
              spec={work.spec}
              plan={planned.plan}
              onChanged={(changed) => {
                knowRevision(changed.revision);
                setPiece(changed);
              }}
            />
          </Suspense>
        ) : (
          <p className="placeholder-figures">{planned.wrong}</p>
        ))}

      <TakeAlong
        pieceId={first.id}
        part={part}
        name={name.trim() || text('piece.unnamed')}
        planned={planned}
        onDelete={() => void remove()}
      />
    </>
  );
}
