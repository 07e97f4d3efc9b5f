import { useEffect, useState } from 'react';
import { listSamples, sampleImageUrl, sentenceOf } from '../lib/api.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { goTo } from '../lib/route.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { makeSamplePiece } from './sample-piece.ts';

/** A piece of our own to look around in, for those who have none yet: it is measured and planned, then opened. */
export function SampleCard() {
  const { preferences } = usePreferences();
  const [name, setName] = useState<string | null>(null);
  const [isBusy, setIsBusy] = useState(false);
  const [wrong, setWrong] = useState<string | null>(null);
  useEffect(() => {
    listSamples()
      .then(([first]) => setName(first?.name ?? null))
      .catch(() => undefined); // The picture is the least of it.
  }, []);

  const open = async () => {
    setIsBusy(true);
    setWrong(null);
    try {
      const piece = await makeSamplePiece(preferences);
      goTo({ screen: 'piece', pieceId: piece.id, part: 'plan' });
    } catch (error) {
      setWrong(sentenceOf(error));
      setIsBusy(false);
    }
  };

  return (
    <section className="sheet piece-card-sheet sample-card" aria-labelledby="sample-card-heading">
      {name ? (
        <img src={sampleImageUrl(name, 480)} alt="" width={480} height={360} />
      ) : (
        <div className="piece-card-blank" />
      )}
      <h2 id="sample-card-heading">{text('sample.name')}</h2>
      <p>{text('sample.what')}</p>
      <button type="button" className="button" disabled={isBusy} onClick={() => void open()}>
        {text(isBusy ? 'sample.making' : 'sample.open')}
      </button>
      <Wrong what={wrong} />
    </section>
  );
}
