import { useEffect, useState } from 'react';
import { redeemPairing, sentenceOf } from '../lib/api.ts';
import { goTo } from '../lib/route.ts';
import { text } from '../lib/text.ts';

/** A phone that has just followed the square code: trades it for the right to come in, then opens the piece. */
export function PairScreen({ code }: { code: string }) {
  const [wrong, setWrong] = useState<string | null>(null);
  useEffect(() => {
    redeemPairing(code)
      .then(({ pieceId }) =>
        goTo(pieceId ? { screen: 'piece', pieceId, part: 'swatch' } : { screen: 'pieces' }),
      )
      .catch((error: unknown) => setWrong(sentenceOf(error)));
  }, [code]);
  return (
    <>
      <div className="screen-head">
        <h1>{text('phone.heading')}</h1>
      </div>
      {wrong ? (
        <p className="wrong" role="alert">
          {wrong}
        </p>
      ) : (
        <p role="status">{text('phone.joining')}</p>
      )}
    </>
  );
}
