import { EventEmitter } from 'node:events';
import { describe, expect, it } from 'vitest';
import { lookedAt, whoFollows } from '../../server/jobs/whoFollows.ts';
import type { Database } from '../../server/storage/openDatabase.ts';

const follow = (kind: Database['kind'], events: EventEmitter) =>
  whoFollows({ database: { kind } as Database, events }, 'a');

describe('who follows a job', () => {
  it('is nobody until somebody listens for it or looks at it', () => {
    const events = new EventEmitter();
    const followers = follow('embedded', events);
    expect(followers.areThere()).toBe(false);
    const listen = (): void => {};
    events.on('job b', listen);
    events.emit(lookedAt('b'));
    expect(followers.areThere()).toBe(false); // another job's
    events.on('job a', listen);
    expect(followers.areThere()).toBe(true);
    events.off('job a', listen);
    expect(followers.areThere()).toBe(false);
    events.emit(lookedAt('a'));
    expect(followers.areThere()).toBe(true); // who looked once looks again
    followers.stop();
    expect(events.listenerCount(lookedAt('a'))).toBe(0);
  });

  it('may be somebody of another process where others share the database', () => {
    expect(follow('postgresql', new EventEmitter()).areThere()).toBe(true);
  });
});
