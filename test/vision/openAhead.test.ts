import { expect, it } from 'vitest';
import { openAhead, openOnce } from '../../vision/network.ts';

it('opens what will be asked for, and tells of what is missing only whoever asks for it', async () => {
  const missing = openOnce(new URL('./no-such.onnx', import.meta.url));
  const sight = openOnce(new URL('../../vision/sight/model/sight.onnx', import.meta.url));
  openAhead();
  await new Promise((done) => setTimeout(done, 50)); // an unhandled rejection would end the run
  expect((await sight()).session.run).toBeTypeOf('function');
  await expect(missing()).rejects.toThrow(/no-such/);
});
