/** Figures are kept for a moment, and no longer than they are right. */
import { expect, test } from 'vitest';
import { figuresFreshMs } from '../../src/base/limits.ts';
import { figuresOf } from '../../src/serve/figures.ts';
import { dayMs, minuteMs, nothing, now, type Scene, sceneOf } from './scene.ts';

const past = [{ state: 'up', agoMs: 40 * dayMs }] as const;

async function counted() {
  const scene = await sceneOf([{ id: 'a', name: 'A', past }], { answers: false });
  const spans = scene.record.spans;
  let readCount = 0;
  scene.record.spans = (id, range) => {
    readCount++;
    return spans(id, range);
  };
  const needs = { ...scene.options };
  return { scene, figures: figuresOf(needs), reads: () => readCount };
}

test('thirty days are read once for all who ask within a minute', async () => {
  const { scene, figures, reads } = await counted();
  const answers = await Promise.all([
    figures.days30('a'),
    figures.days30('a'),
    figures.days30('a'),
  ]);
  expect(reads()).toBe(1);
  expect(answers[0]).toMatchObject({ estimate: 1, to: now });
  await scene.clock.advance(figuresFreshMs);
  expect((await figures.days30('a')).to).toBe(now + figuresFreshMs);
  // The window went on; what the record says of it did not change.
  expect(reads()).toBe(1);
  await scene.record.commit({ ...nothing, outages: [] });
  await scene.clock.advance(figuresFreshMs);
  await figures.days30('a');
  expect(reads()).toBe(2);
});

test('services take turns at becoming stale', async () => {
  const members = Array.from({ length: 40 }, (_, index) => ({ id: `a${index}`, name: 'A', past }));
  const scene = await sceneOf(members, { answers: false });
  const figures = figuresOf(scene.options);
  const ask = async () => {
    const all = await Promise.all(members.map(({ id }) => figures.days30(id)));
    return all.filter(({ to }) => to === scene.clock.wallMs()).length;
  };
  expect(await ask()).toBe(40);
  let most = 0;
  for (let tenth = 0; tenth < 10; tenth++) {
    await scene.clock.advance(figuresFreshMs / 10);
    most = Math.max(most, await ask());
  }
  expect(most).toBeLessThan(15);
});

test('a step of the wall clock keeps nothing longer than it should be', async () => {
  const { scene, figures, reads } = await counted();
  await figures.days30('a');
  scene.clock.step(-dayMs);
  await scene.clock.advance(figuresFreshMs);
  await figures.days30('a');
  expect(reads()).toBe(2);
});

test('when the service changes they are read at once', async () => {
  const { scene, figures, reads } = await counted();
  await figures.days30('a');
  await scene.record.commit({
    ...nothing,
    spans: [{ serviceId: 'a', edits: [{ state: 'down', from: now, earliestFrom: now }] }],
  });
  change(scene);
  await figures.days30('a');
  expect(reads()).toBe(2);
});

test('a reading that failed is not kept', async () => {
  const { scene, figures } = await counted();
  const spans = scene.record.spans;
  scene.record.spans = async () => {
    throw new Error('the disk is gone');
  };
  await expect(figures.days30('a')).rejects.toThrow('the disk is gone');
  scene.record.spans = spans;
  expect((await figures.days30('a')).estimate).toBe(1);
});

test('an open outage counts with what the judge knows of it', async () => {
  const scene = await sceneOf(
    [{ id: 'a', name: 'A', past: [...past, { state: 'down', agoMs: 20 * minuteMs }] }],
    { answers: false },
  );
  const standing = scene.standings.get('a');
  if (!standing?.outage) throw new Error('no outage in the scene');
  const window = { from: now - dayMs, to: now };
  const highWith = async (lastFailedAt: number) => {
    scene.standings.set('a', {
      ...standing,
      outage: { ...standing.outage, lastFailedAt } as typeof standing.outage,
    });
    return (await figuresOf(scene.options).availability('a', window)).high ?? 0;
  };
  // Certain is only what lies between the first and the last failed answer: the later that is, the less can have been up.
  expect(await highWith(now)).toBeLessThan(await highWith(now - 15 * minuteMs));
});

function change(scene: Scene): void {
  const standing = scene.standings.get('a');
  if (standing) scene.standings.set('a', { ...standing, state: 'down', since: now });
}
