/**
 * Whatever moment a measuring process is killed at, it costs the photo that was being measured in it, at most, and
 * nobody waits for ever. 200 kills and more in the long run (`SWATCH_GAUGE_KILLS=200`), a few in every run.
 */
import { readFile } from 'node:fs/promises';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { openVisionPool, VisionFault } from '../../server/measuring/visionPool.ts';

const KILLS = process.env.SWATCH_GAUGE_KILLS ? Number(process.env.SWATCH_GAUGE_KILLS) : 9;
const KILLS_A_HISTORY = 6;
const taskFile = fileURLToPath(new URL('./answeringTask.ts', import.meta.url));

/** This process's measuring processes, those that have not yet said a word as well. */
async function measuringProcesses(): Promise<number[]> {
  const children = await readFile(`/proc/${process.pid}/task/${process.pid}/children`, 'utf8');
  const found: number[] = [];
  for (const pid of children.split(' ').filter(Boolean)) {
    const command = await readFile(`/proc/${pid}/cmdline`, 'utf8').catch(() => '');
    if (command.includes('visionProcessMain')) found.push(Number(pid));
  }
  return found;
}

const moment = fc.integer({ min: 0, max: 40 });
const event = fc.oneof(
  {
    weight: 3,
    arbitrary: fc.record({ kind: fc.constant('task' as const), afterMs: moment, takesMs: moment }),
  },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('turn away' as const), afterMs: moment }) },
);
const history = fc.record({
  /** Between the kills: tasks, and some that nobody waits for any more. */
  stretches: fc.array(fc.array(event, { minLength: 1, maxLength: 6 }), {
    minLength: KILLS_A_HISTORY,
    maxLength: KILLS_A_HISTORY,
  }),
  victims: fc.infiniteStream(fc.nat()),
});

describe.runIf(process.platform === 'linux')('a pool whose processes are killed', () => {
  it(
    'answers every task or says what became of it, and loses one task a kill at most',
    {
      timeout: 60_000 + 3000 * KILLS,
    },
    async () => {
      let kills = 0;
      let answers = 0;
      let deaths = 0;
      await fc.assert(
        fc.asyncProperty(history, async ({ stretches, victims }) => {
          const pool = openVisionPool({ processes: 2, timeoutSeconds: 30, taskFile });
          let killed = 0;
          let died = 0;
          const settled: Promise<void>[] = [];
          const cancels: AbortController[] = [];
          const ask = (takesMs: number): void => {
            const own = `${kills}-${settled.length}`;
            const asked = pool.normalise(Buffer.from(own), takesMs).then(
              ({ bytes }) => {
                expect(Buffer.from(bytes).toString()).toBe(own);
                answers++;
              },
              (error: unknown) => {
                expect(error).toBeInstanceOf(VisionFault);
                expect((error as VisionFault).reason).toBe('process-died');
                died++;
              },
            );
            settled.push(asked);
          };
          /** A photo whose maker turns away as soon as it is asked for: that ends a process, too, but not by a kill. */
          const turnAway = (): void => {
            const cancel = new AbortController();
            cancels.push(cancel);
            const measured = pool.measure({ bytes: new Uint8Array() }, {}, { signal: cancel.signal }).then(
              () => {},
              (error: unknown) => expect((error as VisionFault).reason).toMatch(/cancelled|process-died/),
            );
            settled.push(measured);
            setImmediate(() => cancel.abort());
          };
          for (const stretch of stretches) {
            for (const one of stretch) {
              await sleep(one.afterMs);
              if (one.kind === 'task') ask(one.takesMs);
              else turnAway();
            }
            const alive = await measuringProcesses();
            if (alive.length === 0) continue;
            process.kill(alive[victims.next().value % alive.length]!, 'SIGKILL');
            killed++;
          }
          await Promise.all(settled);
          expect(died).toBeLessThanOrEqual(killed);
          // Nothing is left of it: what comes next is done.
          const { bytes } = await pool.normalise(Buffer.from('after'), 0);
          expect(Buffer.from(bytes).toString()).toBe('after');
          // Closed in the middle of things, it leaves nobody waiting and no process behind.
          settled.length = 0;
          const last = [1, 2, 3, 4].map(() => pool.normalise(Buffer.from('last'), 20));
          const ends = Promise.allSettled(last);
          await sleep(stretches[0]![0]!.afterMs);
          await pool.close();
          await ends;
          expect(await measuringProcesses()).toEqual([]);
          await expect(pool.normalise(Buffer.from('late'), 0)).rejects.toMatchObject({
            reason: 'process-died',
          });
          expect(await measuringProcesses()).toEqual([]);
          kills += killed;
          deaths += died;
        }),
        { numRuns: Math.ceil(KILLS / KILLS_A_HISTORY), endOnFailure: true },
      );
      if (process.env.SWATCH_GAUGE_KILLS) console.log(JSON.stringify({ kills, answers, deaths }));
      expect(kills).toBeGreaterThan(0);
      expect(answers).toBeGreaterThan(deaths);
    },
  );

  it('loses nothing where one is killed that has nothing in hand, however soon the next photo comes', async () => {
    const pool = openVisionPool({ processes: 1, timeoutSeconds: 30, taskFile });
    await pool.warmUp();
    for (let i = 0; i < 8; i++) {
      const [pid] = await measuringProcesses();
      process.kill(pid!, 'SIGKILL');
      if (i % 2) await sleep(i); // before it is known, and while it is being found out
      const { bytes } = await pool.normalise(Buffer.from(`photo ${i}`), 2);
      expect(Buffer.from(bytes).toString()).toBe(`photo ${i}`);
    }
    await pool.close();
  });

  it('does not give the next photo to one that was ended because its maker turned away', async () => {
    const pool = openVisionPool({ processes: 1, timeoutSeconds: 30, taskFile });
    for (let i = 0; i < 8; i++) {
      const cancel = new AbortController();
      const turnedAway = pool.measure({ bytes: new Uint8Array() }, {}, { signal: cancel.signal });
      const next = pool.normalise(Buffer.from(`photo ${i}`), 2);
      // Around the moment at which it answers.
      await sleep(i);
      cancel.abort();
      await turnedAway.catch((error: unknown) => expect((error as VisionFault).reason).toBe('cancelled'));
      expect(Buffer.from((await next).bytes).toString()).toBe(`photo ${i}`);
    }
    await pool.close();
  });
});
