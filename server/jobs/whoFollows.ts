import type { Services } from '../services.ts';

/** What a request emits that looks at a job which is not over, so that its stages are told from then on. */
export const lookedAt = (measurementId: string): string => `look ${measurementId}`;

/**
 * Tells whether anybody wants to know how far a job has come: to tell it takes the database some work at every stage.
 * Where other processes answer requests, too, somebody may always.
 *
 * @example
 * const followers = whoFollows(services, id);
 * try { if (followers.areThere()) await tell(); } finally { followers.stop(); }
 */
export function whoFollows(
  { database, events }: Pick<Services, 'database' | 'events'>,
  measurementId: string,
): { areThere(): boolean; stop(): void } {
  let wasLookedAt = database.kind !== 'embedded';
  const notice = (): void => void (wasLookedAt = true);
  events.on(lookedAt(measurementId), notice);
  return {
    areThere: () => wasLookedAt || events.listenerCount(`job ${measurementId}`) > 0,
    stop: () => void events.off(lookedAt(measurementId), notice),
  };
}
