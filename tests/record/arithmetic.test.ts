/** What is worked out in the record against its answers: one thing changed in a course that is right, and it is complained of. */
import { expect, test } from 'vitest';
import type { Outcome } from '../../src/base/values.ts';
import { packedAnswers } from '../../src/record/answers.ts';
import { type Course, contradictionsIn } from '../../src/record/arithmetic.ts';
import { minute, outage, t0, unconfirmedFailure } from './support/values.ts';

const at = (minutes: number) => t0 + minutes * minute;

/** One answer a minute: a failure that passed at 3, an outage from 6 to 9, nobody looking from 13 to 20, down again at 22. */
const outcomes: readonly (readonly [minutes: number, outcome: Outcome])[] = [
  ...[0, 1, 2].map((m) => [m, 'answered'] as const),
  [3, 'failed'],
  [4, 'answered'],
  [5, 'limited'],
  ...[6, 7, 8].map((m) => [m, 'failed'] as const),
  ...[9, 10, 11, 12].map((m) => [m, 'answered'] as const),
  [20, 'answered'],
  [21, 'answered'],
  ...[22, 23].map((m) => [m, 'unproven'] as const),
];

function answersFrom(list: typeof outcomes) {
  const answers = packedAnswers();
  for (const [minutes, outcome] of list) answers.add(at(minutes), outcome);
  return answers;
}

const span = (state: 'up' | 'down' | 'unobserved', from: number, earliest = from) => ({
  state,
  from: at(from),
  earliestFrom: at(earliest),
  to: null as number | null,
});

const course: Course = {
  answers: answersFrom(outcomes),
  spans: [
    { ...span('up', 0), to: at(6) },
    { ...span('down', 6, 5), to: at(9) },
    { ...span('up', 9, 8), to: at(13) },
    { ...span('unobserved', 13), to: at(20) },
    { ...span('up', 20), to: at(22) },
    span('down', 22, 21),
  ],
  outages: [
    outage('shop', at(6), {
      lastGoodAt: at(5),
      confirmedAt: at(7),
      lastFailedAt: at(8),
      restoredAt: at(9),
    }),
    outage('shop', at(22), { lastGoodAt: at(21), confirmedAt: at(23), lastFailedAt: at(23) }),
  ],
  unconfirmed: [
    {
      ...unconfirmedFailure('shop', at(3)),
      lastGoodAt: at(2),
      lastFailedAt: at(3),
      nextGoodAt: at(4),
    },
  ],
  doubtful: [],
};

const [first, second] = course.outages;
const without = (minutes: number) => answersFrom(outcomes.filter(([each]) => each !== minutes));
const with_ = (minutes: number, outcome: Outcome) =>
  answersFrom([...outcomes, [minutes, outcome] as const].sort(([one], [other]) => one - other));
const changed = (place: number, more: Partial<Course['spans'][number]>) =>
  course.spans.map((each, nth) => (nth === place ? { ...each, ...more } : each));

test('of a course that is right nothing is complained of', () => {
  expect(contradictionsIn(course)).toEqual([]);
});

test.each<[string, Partial<Course>, RegExp]>([
  [
    'a stay moved',
    { spans: changed(1, { from: at(6) + 1 }) },
    /stay down .* begins with no answer/,
  ],
  [
    'a stay of another state',
    { spans: changed(2, { state: 'down' }) },
    /goes on in the state before it/,
  ],
  [
    'an up without an answer',
    { spans: changed(4, { from: at(19) }) },
    /stay up .* begins with no answer/,
  ],
  [
    'bounds that are no bounds',
    { spans: changed(1, { earliestFrom: at(7) }) },
    /may have begun after it began/,
  ],
  ['an outage left out', { outages: second ? [second] : [] }, /stay down .* has no outage/],
  [
    'an outage too many',
    { outages: [...course.outages, outage('shop', at(24))] },
    /began before the one before it was over/,
  ],
  [
    'an outage without a stay',
    { spans: changed(1, { state: 'unobserved' }) },
    /has no stay that begins with it/,
  ],
  [
    'a last good answer that was none',
    { outages: first ? [{ ...first, lastGoodAt: at(3) }] : [] },
    /follows no good answer/,
  ],
  [
    'an earlier last good answer',
    { outages: first ? [{ ...first, lastGoodAt: at(4) }] : [] },
    /follows a later good answer than it says/,
  ],
  [
    'a restoration that was none',
    { outages: first ? [{ ...first, restoredAt: at(8) }] : [] },
    /no possible order|no good answer/,
  ],
  [
    'a confirmation before it failed',
    { outages: first ? [{ ...first, confirmedAt: at(5) }] : [] },
    /no possible order/,
  ],
  ['the answer that restored it gone', { answers: without(9) }, /ended with no good answer/],
  ['the answer that began it gone', { answers: without(6) }, /claims failures that are not there/],
  [
    'a failure that nobody counted',
    { answers: with_(10.5, 'failed') },
    /holds failures that nothing accounts for/,
  ],
  [
    'an unconfirmed failure left out',
    { unconfirmed: [] },
    /holds failures that nothing accounts for/,
  ],
  ['an unconfirmed failure that was none', { answers: without(3) }, /is not among the answers/],
])('%s is complained of', (_, change, complaint) => {
  const found = contradictionsIn({ ...course, ...change });
  expect(found.filter((sentence) => complaint.test(sentence))).not.toEqual([]);
});

test('good answers that end nothing are complained of where there are more than may be wanted', () => {
  const seconds = (count: number) =>
    Array.from({ length: count }, (_, nth) => [23.1 + nth / 100, 'answered'] as const);
  const found = (count: number) =>
    contradictionsIn({ ...course, answers: answersFrom([...outcomes, ...seconds(count)]) });
  expect(found(20)).toEqual([]);
  expect(found(21)).toEqual([expect.stringContaining('goes on over good answers')]);
});

test('of times that are in doubt nothing is complained of', () => {
  const forgotten = { from: 0, to: at(21) };
  const answers = answersFrom(outcomes.filter(([minutes]) => minutes >= 21));
  expect(contradictionsIn({ ...course, answers, doubtful: [forgotten] })).toEqual([]);
  expect(contradictionsIn({ ...course, answers })).not.toEqual([]);
});

test('packed answers are found again by their instant', () => {
  const answers = packedAnswers();
  for (let nth = 0; nth < 5_000; nth++) answers.add(t0 + 2 * nth, nth % 2 ? 'failed' : 'answered');
  expect(answers.count).toBe(5_000);
  expect([answers.at(4_999), answers.outcome(4_999), answers.at(5_000)]).toEqual([
    t0 + 9_998,
    'failed',
    Number.NaN,
  ]);
  expect([t0 - 1, t0, t0 + 1, t0 + 9_998, t0 + 9_999].map(answers.placeAt)).toEqual([
    0, 0, 1, 4_999, 5_000,
  ]);
});
