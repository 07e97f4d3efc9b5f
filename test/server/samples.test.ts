import { rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Sample } from '../../server/api/schemas.ts';
import { makeFolder, makePicture, startTestServer, type TestServer } from './support.ts';

let folder: string;
let server: TestServer;
const list = async (): Promise<Sample[]> => (await (await fetch(`${server.api}/samples`)).json()) as Sample[];
beforeAll(async () => {
  folder = await makeFolder();
  server = await startTestServer({ samplesFolder: folder, takesJobs: false });
  await writeFile(join(folder, 'red-wool.jpg'), await makePicture());
});
afterAll(async () => {
  await server.stop();
  await rm(folder, { recursive: true, force: true });
});

describe('the list of samples', () => {
  it.each([
    ['tells title and stitch', '{"title":"A red one","fabric":{"stitch":"hdc"}}', 'A red one', 'hdc'],
    ['does without a stitch it does not know', '{"title":"Odd","fabric":{"stitch":"glue"}}', 'Odd', null],
    ['goes by the file’s name where the truth is cut off', '{"title":"A re', 'Red wool', null],
    ['goes by the name where the truth is none', 'null', 'Red wool', null],
    ['goes by the name where it holds something else', '[{"title":3}]', 'Red wool', null],
  ])('%s', async (_what, truth, title, stitch) => {
    await writeFile(join(folder, 'red-wool.json'), truth);
    expect(await list()).toEqual([{ name: 'red-wool', title, stitch, widthPx: 320, heightPx: 240 }]);
  });

  it('leaves out a picture that is damaged, and shows the others', async () => {
    await writeFile(join(folder, 'broken.jpg'), 'no picture');
    expect((await list()).map(({ name }) => name)).toEqual(['red-wool']);
  });

  it('leads to no file outside the folder', async () => {
    for (const name of ['..%2f..%2fpackage', 'none', 'red-wool.jpg', '%00']) {
      expect((await fetch(`${server.api}/samples/${name}/image`)).status).toBe(404);
    }
    expect((await fetch(`${server.api}/samples/red-wool/image`)).status).toBe(200);
  });
});
