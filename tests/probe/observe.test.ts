/** Observations built from an exchange: phases, outcome, bounds on what a peer told. */
import { expect, test } from 'vitest';
import { detailCharsMax, factsCountMax, peerTextCharsMax } from '../../src/base/limits.ts';
import { beginCourse, trouble } from '../../src/probe/observe.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

const wallMs = 1_764_050_400_000;

test('phases are timed apart, in whole microseconds, and one entered twice goes on counting', async () => {
  const clock = simulatedClock({ wallMs });
  const course = beginCourse(clock);
  course.phase('connect');
  await clock.advance(1.5);
  course.phase('speak');
  await clock.advance(2.0004);
  course.phase('connect');
  await clock.advance(1);
  const observation = course.answered({ serverVersion: '15.18' });
  expect(observation).toEqual({
    at: wallMs,
    outcome: 'answered',
    tookUs: 4_500,
    phases: { connectUs: 2_500, speakUs: 2_000 },
    trouble: null,
    facts: { serverVersion: '15.18' },
  });
});

test('the start is the wall clock at the beginning, whatever the clock does during the exchange', async () => {
  const clock = simulatedClock({ wallMs });
  const course = beginCourse(clock);
  clock.step(3_600_000);
  await clock.advance(10);
  expect(course.answered()).toMatchObject({ at: wallMs, tookUs: 10_000, phases: {} });
});

test.each([
  ['refused', 'failed'],
  ['silent', 'unproven'],
  ['sign-in-refused', 'limited'],
] as const)('the reason %s makes the outcome %s', (reason, outcome) => {
  const course = beginCourse(simulatedClock({ wallMs }));
  expect(course.troubled(trouble(reason))).toMatchObject({ outcome, trouble: { reason } });
});

test('words of the table stand where the probe has nothing more exact to say', () => {
  expect(trouble('refused')).toMatchObject({
    layer: 'port',
    detail: 'nothing listens on its port',
  });
  expect(trouble('refused', 'nothing listens on a:1', 'Look there.')).toMatchObject({
    detail: 'nothing listens on a:1',
    hint: 'Look there.',
  });
});

test('what a peer told is stripped and bounded in length and number', () => {
  const many = Object.fromEntries(Array.from({ length: 100 }, (_, i) => [`fact${i}`, i]));
  const clock = simulatedClock({ wallMs });
  const facts = beginCourse(clock).answered({
    version: `15\u001b[31m<b>\r\n\u202e${'x'.repeat(100_000)}`,
    absent: undefined,
    nothing: null,
    endless: Number.NaN,
    ...many,
  }).facts;
  expect(Object.keys(facts)).toHaveLength(factsCountMax);
  expect(facts).not.toHaveProperty('absent');
  expect(facts).not.toHaveProperty('nothing');
  expect(facts).not.toHaveProperty('endless');
  expect(facts).toMatchObject({ version: expect.stringMatching(/^15 \[31m<b> x+…$/) });
  expect(Object.values(facts)[0]).toHaveLength(peerTextCharsMax);
  expect(trouble('malformed', `\u0007${'y'.repeat(5_000)}`).detail).toHaveLength(detailCharsMax);
});
