import type { Sample } from '../../server/api/schemas.ts';
import { sampleImageUrl } from '../lib/api.ts';
import { hasText, text } from '../lib/text.ts';
import { useStitchName } from '../plan/stitch-fields.tsx';

/** The photos that come with the program, to try it without one. */
export function PickSample({ samples, onSample }: { samples: Sample[]; onSample: (name: string) => void }) {
  const stitchName = useStitchName();
  const titleOf = ({ name, title, stitch }: Sample) => {
    const key = `sampleTitle.${name}`;
    return stitch && hasText(key) ? text(key, { stitch: stitchName(stitch) }) : title;
  };
  return (
    <div className="pick-samples">
      <h3 id="samples-heading">{text('photo.samples')}</h3>
      <ul aria-labelledby="samples-heading">
        {samples.map((sample) => (
          <li key={sample.name}>
            <button type="button" onClick={() => onSample(sample.name)}>
              <img src={sampleImageUrl(sample.name, 240)} alt="" width={96} height={72} loading="lazy" />
              <span>{titleOf(sample)}</span>
            </button>
          </li>
        ))}
      </ul>
    </div>
  );
}
