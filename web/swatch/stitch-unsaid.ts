import type { Measuring } from './use-measuring.ts';

/**
 * Whether only the photo says which stitch it is. Fabrics that look alike are counted differently: taken for another one,
 * a swatch of her own may have half or twice the rows. Samples are known, and what she counted herself is hers.
 */
export function isStitchUnsaid({
  photo,
  job,
  options,
}: Pick<Measuring, 'photo' | 'job' | 'options'>): boolean {
  const isRead = Boolean(job?.measurement?.gauge);
  const isCounted = (options.corrections?.length ?? 0) > 0;
  return isRead && photo !== null && !photo.isSample && options.stitch === undefined && !isCounted;
}
