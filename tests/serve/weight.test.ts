/** What a roll with thirty services weighs: as it is, and as it is sent with style and script. */
import { brotliCompressSync, gzipSync } from 'node:zlib';
import { build } from 'esbuild';
import { expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { dayMs, type Member, sceneOf } from './scene.ts';

/** Each with latencies of its own, so that nothing repeats that would not at home. */
const thirty = Array.from({ length: 30 }, (_, index): Member => {
  const like = fernhill[index % fernhill.length] as Member;
  if (index < fernhill.length) return like;
  const past = [{ state: 'up' as const, agoMs: (9 + index) * dayMs }];
  const name = `${like.name} ${index}`;
  return {
    ...like,
    id: `${like.id}-${index}`,
    name,
    needs: [],
    past,
    everyMs: 60_000 + index * 1_000,
  };
});

async function built(entry: string): Promise<Uint8Array> {
  const { outputFiles } = await build({
    entryPoints: [new URL(`../../web/${entry}`, import.meta.url).pathname],
    bundle: true,
    minify: true,
    write: false,
    outdir: '/',
    target: 'es2022',
  });
  return outputFiles[0]?.contents ?? new Uint8Array();
}

test('a roll with thirty services weighs 60 kB at most, its script 15 kB sent', async () => {
  const { app } = await sceneOf(thirty);
  const { body } = await app.inject({ url: '/', headers: { 'accept-encoding': 'identity' } });
  const [style, script] = await Promise.all([built('style.css'), built('client/main.ts')]);
  expect(body.match(/<a class="day"/g)).toHaveLength(30);
  expect(Buffer.byteLength(body)).toBeLessThan(60_000);
  expect(gzipSync(script).length).toBeLessThan(15_000);
  const sent = [Buffer.from(body), style, script].map((part) => brotliCompressSync(part).length);
  expect(sent.reduce((sum, bytes) => sum + bytes, 0)).toBeLessThan(25_000);
  await app.close();
});
