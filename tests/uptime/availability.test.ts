/** Availability over windows worked out by hand. All figures in seconds; the asked window is 0 to 1000 unless it says otherwise. */
import { expect, test } from 'vitest';
import type { Availability } from '../../src/uptime/availability.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { history } from './course.ts';

/** Figures in seconds, shares as [time up, required time]. */
function said(availability: Availability) {
  const { estimate, low, high, outages } = availability;
  const seconds = Object.fromEntries(
    Object.entries(availability)
      .filter(([name]) => name.endsWith('Ms'))
      .map(([name, ms]) => [name.slice(0, -2), ms === null ? null : (ms as number) / 1_000]),
  );
  return { estimate, low, high, outages, ...seconds };
}

const cases: readonly (readonly [
  name: string,
  text: string,
  around: Omit<Parameters<typeof history>[1], 'window'> & { window?: [number, number] },
  expected: Partial<ReturnType<typeof said>> & Record<string, number | null>,
])[] = [
  [
    'nothing but up',
    'up 0',
    {},
    {
      estimate: 1,
      low: 1,
      high: 1,
      up: 1000,
      down: 0,
      outages: 0,
      mttr: null,
      mtbf: null,
      mut: null,
      mdt: null,
      detectionDelay: null,
    },
  ],
  [
    'one outage: the middles for the estimate, the ends for the bounds',
    'up 0 | down 110<100 | up 210<200',
    {},
    {
      estimate: 0.9,
      low: 0.89,
      high: 0.91,
      up: 900,
      down: 100,
      outages: 1,
      mttr: 100,
      mtbf: 900,
      mut: 900,
      mdt: 100,
      detectionDelay: 10,
    },
  ],
  [
    'degraded is an up state, and stands apart in the times',
    'up 0 | degraded 100<100 | up 300<300',
    {},
    { estimate: 1, low: 1, high: 1, up: 800, degraded: 200, down: 0, outages: 0 },
  ],
  [
    'from degraded to down and back the time of each ends at the middle',
    'degraded 0 | down 110<100 | degraded 210<200',
    {},
    { estimate: 0.9, low: 0.89, high: 0.91, up: 0, degraded: 900, down: 100 },
  ],
  [
    'an outage that lasts is certain up to its last failed answer, and counted until now',
    'up 0 | down 910<900',
    { lastFailed: 970 },
    { estimate: 0.905, low: 0.9, high: 0.94, down: 95, outages: 1, mttr: null, mtbf: 905, mdt: 95 },
  ],
  [
    'a gap is neither up nor down, and its edges are certain',
    'up 0 | unobserved 400<380 | up 600<380',
    {},
    { estimate: 1, low: 1, high: 1, up: 800, unobserved: 200 },
  ],
  [
    'an outage that is found after a gap began for us where the gap ended',
    'up 0 | unobserved 400 | down 600<390 | up 700<690',
    {},
    {
      estimate: 705 / 800,
      low: 700 / 800,
      high: 710 / 800,
      down: 95,
      outages: 1,
      mttr: 95,
      detectionDelay: 5,
    },
  ],
  [
    'an outage that goes into a gap ends for us where the gap begins',
    'up 0 | down 310<300 | unobserved 400<390 | up 600<390',
    {},
    { estimate: 705 / 800, low: 700 / 800, high: 710 / 800, down: 95, outages: 1, mttr: 95 },
  ],
  [
    'an outage with a gap inside is one outage, and the gap is not part of its time',
    'up 0 | down 310<300 | unobserved 400 | down 600 | up 710<700',
    {},
    {
      estimate: 600 / 800,
      low: 590 / 800,
      high: 610 / 800,
      down: 200,
      unobserved: 200,
      outages: 1,
      mttr: 200,
      mtbf: 600,
    },
  ],
  [
    'a service younger than the window is judged by the time since it is known',
    'up 900 | down 950<950 | up 960<960',
    {},
    { estimate: 0.9, low: 0.9, high: 0.9, up: 90, down: 10, unobserved: 900 },
  ],
  [
    'time after the last span was not watched',
    'up 0 | end 600',
    {},
    { estimate: 1, up: 600, unobserved: 400 },
  ],
  [
    'a service that was unobserved and up by turns is judged by the time in which it was watched',
    'up 0 | unobserved 200 | up 300 | unobserved 700 | up 800',
    {},
    { estimate: 1, up: 800, unobserved: 200 },
  ],
  [
    'planned time is taken out of whatever it lies over',
    'up 0 | down 110<110 | up 210<210 | unobserved 400 | up 600',
    {
      planned: [
        [160, 260],
        [350, 450],
        [250, 260],
      ],
    },
    {
      estimate: 600 / 650,
      low: 600 / 650,
      high: 600 / 650,
      up: 600,
      down: 50,
      unobserved: 150,
      planned: 200,
      outages: 1,
      mttr: 50,
      mtbf: 600,
    },
  ],
  [
    'an outage that was seen in planned time only is no failure',
    'up 0 | down 110<100 | up 210<200',
    { planned: [[90, 220]] },
    { estimate: 1, low: 1, high: 1, planned: 130, outages: 0, mttr: null, mtbf: null },
  ],
  [
    'an outage that outlasts its planned time counts from the end of that',
    'up 0 | down 110<110 | up 210<210',
    { planned: [[100, 150]] },
    { estimate: 890 / 950, down: 60, planned: 50, outages: 1, mttr: 60, mdt: 60 },
  ],
  [
    'an unconfirmed failure lowers only the lower bound',
    'up 0',
    { unconfirmed: [[100, 110, 115, 120]] },
    { estimate: 1, low: 0.98, high: 1, up: 1000, down: 0, outages: 0 },
  ],
  [
    'an unconfirmed failure right after a gap may have begun with the watch, not before',
    'up 0 | unobserved 400 | up 600',
    { unconfirmed: [[395, 605, 605, 610]] },
    { estimate: 1, low: 790 / 800, high: 1 },
  ],
  [
    'an unconfirmed failure of a service that never answered before counts from itself',
    'up 100',
    { unconfirmed: [[null, 100, 105, 110]] },
    { estimate: 1, low: 890 / 900, high: 1 },
  ],
  [
    'an unconfirmed failure that an outage follows is not counted twice',
    'up 0 | down 120<100 | up 220<220',
    { unconfirmed: [[90, 95, 95, 110]] },
    { estimate: 0.89, low: 0.87, high: 0.9 },
  ],
  [
    'down time behind a cause counts, and stands apart from the own',
    'up 0 | down 100 | up 200 | down@nas 300 | up 350',
    {},
    {
      estimate: 0.85,
      down: 150,
      externallyDisabled: 50,
      ownDown: 100,
      outages: 2,
      mttr: 75,
      mtbf: 425,
      mdt: 75,
    },
  ],
  [
    'the future is not in the window',
    'up 0 | down 400<400',
    { now: 500, window: [0, 1000] },
    { estimate: 0.8, up: 400, down: 100, unobserved: 0, outages: 1 },
  ],
  [
    'an outage that began before the window counts with its time there, and with its whole length when it was restored',
    'up 0 | down 110<90 | up 310<290',
    { window: [200, 1000] },
    {
      estimate: 0.875,
      low: 690 / 800,
      high: 710 / 800,
      down: 100,
      outages: 0,
      mttr: 200,
      mtbf: null,
      mut: null,
      mdt: null,
    },
  ],
  [
    'an outage that ends after the window counts as failure there, not as restored',
    'up 0 | down 910<890 | up 1110<1090',
    { now: 2000, window: [0, 1000] },
    { estimate: 0.9, down: 100, outages: 1, mttr: null, mtbf: 900, mdt: 100 },
  ],
  [
    'the beginning of an outage that was first seen after the window lies in it by half an interval',
    'up 0 | down 1010<970 | up 1110',
    { now: 2000, window: [0, 1000] },
    { estimate: 0.99, low: 0.97, high: 1, down: 10, outages: 0 },
  ],
  [
    'a flapping service never has an edge beyond the span before',
    'up 0 | down 100<90 | up 105<80 | down 110<20 | up 120<115',
    {},
    // Edges: (90,100] (100,105] (105,110] (115,120].
    {
      estimate: 1 - (102.0 - 95 + (117.5 - 107.5) + 0.5) / 1000,
      low: 0.97,
      high: 0.995,
      outages: 2,
    },
  ],
  [
    'down from the first answer on',
    'down 0',
    {},
    { estimate: 0, low: 0, high: 0, up: 0, down: 1000, outages: 1, mtbf: 0, mdt: 1000 },
  ],
  [
    'all of it unobserved',
    'unobserved 0',
    {},
    { estimate: null, low: null, high: null, unobserved: 1000, outages: 0 },
  ],
  [
    'all of it planned',
    'up 0',
    { planned: [[0, 5000]] },
    { estimate: null, low: null, high: null, up: 0, planned: 1000 },
  ],
];

test.each(cases)('%s', (_, text, around, expected) => {
  const { window = [0, 1000] as [number, number], ...rest } = around;
  expect(said(availabilityOf(history(text, { window, ...rest })))).toMatchObject(expected);
});

test('an empty window has no availability, not a perfect one', () => {
  const asked = history('up 0', { window: [500, 500] });
  expect(availabilityOf(asked)).toMatchObject({
    from: 500_000,
    to: 500_000,
    estimate: null,
    upMs: 0,
  });
});

test('a window that lies in the future is empty', () => {
  const asked = history('up 0', { window: [500, 900], now: 300 });
  expect(availabilityOf(asked)).toMatchObject({ from: 500_000, to: 500_000, estimate: null });
});

test('the window is given back up to now', () => {
  const asked = history('up 0', { window: [100, 900], now: 300 });
  expect(availabilityOf(asked)).toMatchObject({ from: 100_000, to: 300_000, upMs: 200_000 });
});

test('without spans all was unobserved', () => {
  const asked = { ...history('up 0', { window: [0, 10] }), spans: [] };
  expect(availabilityOf(asked)).toMatchObject({ estimate: null, unobservedMs: 10_000, outages: 0 });
});

test('spans that do not meet leave unobserved time between them', () => {
  const asked = history('up 0', { window: [0, 100] });
  const spans = [
    { state: 'up', from: 0, earliestFrom: 0, to: 40_000 },
    { state: 'down', from: 60_000, earliestFrom: 30_000, to: null },
  ] as const;
  expect(availabilityOf({ ...asked, spans })).toMatchObject({
    upMs: 40_000,
    unobservedMs: 20_000,
    downMs: 40_000,
    low: 0.5,
  });
});

test('a down span whose outage is not given is down until now in all three', () => {
  const asked = { ...history('up 0 | down 60', { window: [0, 100] }), outages: [] };
  expect(availabilityOf(asked)).toMatchObject({ estimate: 0.6, low: 0.6, high: 0.6, outages: 0 });
});

test('an outage that was seen failing again after its planned time counts, however old its last failed answer is on paper', () => {
  const asked = history('up 0 | down 100 | unobserved 200 | down 400', {
    window: [0, 1000],
    planned: [[100, 200]],
    lastFailed: 150,
  });
  expect(availabilityOf(asked)).toMatchObject({ outages: 1, downMs: 600_000 });
});

test('a single failed answer makes an outage where one is enough', () => {
  const asked = history('up 0 | down 110<100 | up 120<110', { window: [0, 1000] });
  expect(availabilityOf(asked)).toMatchObject({ outages: 1, downMs: 10_000, low: 0.98, high: 1 });
});

test('an outage belongs to the window in which it was first seen, one that was restored at the very end is restored', () => {
  const text = 'up 0 | down 100<100 | up 200<200';
  const counts = (window: [number, number]) => {
    const { outages, mttrMs } = availabilityOf(history(text, { window, now: 1000 }));
    return [outages, mttrMs];
  };
  expect(counts([0, 100])).toEqual([0, null]);
  expect(counts([100, 200])).toEqual([1, 100_000]);
  expect(counts([100, 199])).toEqual([1, null]);
  expect(counts([200, 300])).toEqual([0, null]);
});

test('middles are rounded down to whole milliseconds at both ends, so that the rounding favours nobody', () => {
  const asked = history('up 0 | down 0.105<0.1 | up 0.205<0.2', { window: [0, 1] });
  expect(availabilityOf(asked)).toMatchObject({ upMs: 900, downMs: 100 });
});

test.each([
  ['the short day of a summer time', Date.UTC(2026, 2, 28, 23), Date.UTC(2026, 2, 29, 22), 23],
  ['the long day of its end', Date.UTC(2026, 9, 24, 22), Date.UTC(2026, 9, 25, 23), 25],
])('%s is a window like any other: its length counts', (_, from, to, hours) => {
  const base = history('up 0', { window: [0, 1] });
  const span = {
    state: 'up',
    from: from - 86_400_000,
    earliestFrom: from - 86_400_000,
    to: null,
  } as const;
  const figures = availabilityOf({ ...base, spans: [span], window: { from, to }, now: to });
  expect(figures).toMatchObject({ estimate: 1, upMs: hours * 3_600_000, unobservedMs: 0 });
});
