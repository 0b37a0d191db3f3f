/** What Rollcall says of itself, in full. */
import { expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { dayMs, hourMs, minuteMs, now, sceneOf, words } from './scene.ts';

const quiet = { name: 'phone', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 };

test('while all is well it says so, and how it is', async () => {
  const { app } = await sceneOf(fernhill, {
    answers: false,
    tells: {
      channels: [quiet, { ...quiet, name: 'chat', lastDeliveredAt: now - hourMs }],
      deadLetters: [],
    },
  });
  const html = (await app.inject({ url: '/about' })).body;
  const text = words(html);
  expect(html).toContain('<title>Rollcall itself · Fernhill Pottery</title>');
  expect(text).toContain('Rollcall itself is well.');
  expect(text).toContain('Version 0.1.0 Running 3 days since 22 Nov, 09:42');
  expect(text).toContain('On the roll 9 services');
  expect(text).toMatch(/Memory \d+\.\d MB/);
  if (process.platform === 'linux') expect(text).toMatch(/Written [\d.]+ [kM]B To the disk/);
  expect(text).toContain('Last written 09:41:58');
  expect(text).toContain('Who is told By 2 channels; none of them fails. Channels');
  expect(html).toContain('href="/channels"');
  expect(text).not.toContain('What is wrong');
  await app.close();
});

test('everything that is wrong stands there, and every notice that was given up', async () => {
  const troubled = await sceneOf(fernhill, {
    answers: false,
    tells: {
      channels: [
        {
          ...quiet,
          lastFailure: { at: now - minuteMs, detail: 'it answered 500' },
          waitingCount: 2,
        },
      ],
      deadLetters: [
        {
          noticeId: '1',
          channel: 'chat',
          at: now - dayMs,
          summary: 'Shop is down.',
          detail: '404 no such hook',
        },
        { noticeId: '2', channel: 'chat', at: now - dayMs, summary: 'Shop is up.', detail: '' },
      ],
    },
    report: { troubles: ['The configuration was not read again: line 4: unknown key "prob".'] },
  });
  troubled.record.breakWrites('no space is left on the disk');
  const text = words((await troubled.app.inject({ url: '/about' })).body);
  expect(text).toContain('Something is wrong with Rollcall itself.');
  expect(text).toMatch(
    /What is wrong The record cannot be written: no space is left on the disk\./,
  );
  expect(text).toContain('The configuration was not read again: line 4: unknown key "prob".');
  expect(text).toContain(
    'The channel “phone” did not take a notice at 09:41:10: it answered 500; 2 notices wait for another try.',
  );
  expect(text).toContain(
    '24 Nov, 09:42 to “chat”: Shop is down. The last try ended with: 404 no such hook',
  );
  expect(text).toContain('to “chat”: Shop is up. How it is');
  expect(text).toContain('It cannot be written at present.');
  expect(text).toContain('By 1 channel; 1 of them fails.');
  await troubled.app.close();
});

test('where nobody is told it says that', async () => {
  const { app } = await sceneOf([], { tells: { channels: [], deadLetters: [] } });
  expect(words((await app.inject({ url: '/about' })).body)).toContain(
    'Nobody is told: no channel is configured.',
  );
  await app.close();
});

test.each([
  [
    { takenAt: null, trouble: null, isSilent: false },
    'Pulse not taken yet The last call to whoever',
  ],
  [{ takenAt: now - minuteMs, trouble: null, isSilent: false }, 'Pulse 09:41:10 The last call to'],
  [
    { takenAt: now - hourMs, trouble: 'beat.example answered 404', isSilent: false },
    'Pulse 08:42:10 beat.example answered 404 The last call',
  ],
  [
    { takenAt: now - hourMs, trouble: null, isSilent: true },
    'Pulse 08:42:10 Silent, because something is wrong here',
  ],
])('the pulse %j is shown', async (pulse, said) => {
  const { app } = await sceneOf([], { report: { pulse } });
  expect(words((await app.inject({ url: '/about' })).body)).toContain(said);
  await app.close();
});
