import { describe, expect, it } from 'vitest';
import { Slots } from '../../server/measuring/slots.ts';

describe('the places at the measuring processes', () => {
  it('are given in the order of asking, to those in a hurry first', async () => {
    const slots = new Slots(1);
    const first = await slots.enter();
    const order: string[] = [];
    const ask = async (name: string, isUrgent = false): Promise<void> => {
      const leave = await slots.enter({ isUrgent });
      order.push(name);
      leave();
    };
    const all = [ask('photo 1'), ask('photo 2'), ask('overlay', true)];
    first();
    first(); // twice is once: nobody gets a place that is not there
    await Promise.all(all);
    expect(order).toEqual(['overlay', 'photo 1', 'photo 2']);
  });

  it('are as many as there are processes', async () => {
    const slots = new Slots(2);
    const leave = await slots.enter();
    await slots.enter();
    let isIn = false;
    const third = slots.enter().then(() => (isIn = true));
    await Promise.resolve();
    expect(isIn).toBe(false);
    leave();
    await third;
    expect(isIn).toBe(true);
  });

  it('are not kept for those who gave up waiting', async () => {
    const slots = new Slots(1);
    const leave = await slots.enter();
    const patience = new AbortController();
    const waiting = slots.enter({ signal: patience.signal });
    const behind = slots.enter();
    patience.abort(new Error('gone'));
    await expect(waiting).rejects.toThrow('gone');
    leave();
    (await behind)();
    await expect(slots.enter({ signal: patience.signal })).rejects.toThrow('gone');
    (await slots.enter())();
  });
});
