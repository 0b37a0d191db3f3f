/** Availability of groups: by hand in seconds, against a model of single milliseconds, and by its laws. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { groupAvailabilityOf } from '../../src/uptime/groups.ts';
import { history } from './course.ts';
import { histories } from './random-course.ts';

type Around = Omit<Parameters<typeof history>[1], 'window'>;

/** One course a member, over 0 to 1000 s; figures in seconds. */
function group(courses: readonly (string | readonly [string, Around])[]) {
  const members = courses.map((course, nth) => {
    const [text, around] = typeof course === 'string' ? [course, {}] : course;
    return {
      serviceId: `service-${nth}`,
      history: history(text, { window: [0, 1_000], ...around }),
    };
  });
  const figures = groupAvailabilityOf(members, {
    window: { from: 0, to: 1_000_000 },
    now: 1_000_000,
  });
  const { upMs, downMs, unobservedMs, plannedMs } = figures;
  expect(upMs + downMs + unobservedMs + plannedMs).toBe(1_000_000);
  const seconds = [upMs, downMs, unobservedMs, plannedMs].map((ms) => ms / 1_000);
  return { ...figures, seconds };
}

describe('all its services must be up', () => {
  test('outages apart from each other add up, and the mean stands beside that', () => {
    expect(group(['up 0 | down 100 | up 150', 'up 0 | down 300 | up 350', 'up 0'])).toMatchObject({
      estimate: 0.9,
      mean: (0.95 + 0.95 + 1) / 3,
      seconds: [900, 100, 0, 0],
    });
  });

  test('outages at the same time count once', () => {
    const both = 'up 0 | down@nas 100 | up 200';
    expect(group([both, both])).toMatchObject({ estimate: 0.9, mean: 0.9 });
  });

  test('degraded is an up state', () => {
    expect(group(['degraded 0', 'up 0']).estimate).toBe(1);
  });

  test('the bounds are those of all the answers together', () => {
    expect(
      group([
        'up 0 | down 110<100 | up 210<200',
        ['up 0 | down 215<205 | up 300<290', { unconfirmed: [[400, 410, 410, 420]] }],
      ]),
    ).toMatchObject({
      estimate: 1 - (205 - 105 + (295 - 210)) / 1_000,
      // 100 to 300, and the doubtful 20 s; 110 to 200 and 215 to 290.
      low: 0.78,
      high: 1 - (90 + 75) / 1_000,
    });
  });
});

describe('its required time', () => {
  test('time in which one was not watched is left out, also where another was down', () => {
    expect(group(['up 0 | unobserved 100 | up 200', 'up 0 | down 150 | up 250'])).toMatchObject({
      estimate: 850 / 900,
      seconds: [850, 50, 100, 0],
    });
  });

  test('planned work on one takes the group out of duty', () => {
    expect(group([['up 0', { planned: [[100, 200]] }], 'up 0 | down 150 | up 250'])).toMatchObject({
      estimate: 850 / 900,
      seconds: [850, 50, 0, 100],
    });
  });

  test('a service belongs to the group since it is known', () => {
    expect(group(['up 0 | down 100 | up 200', 'up 600 | down 700 | up 800'])).toMatchObject({
      estimate: 0.8,
      mean: (0.9 + 0.75) / 2,
      unseen: [],
    });
  });

  test('one that is known and was never watched since takes no part, and is named', () => {
    expect(group(['up 0 | down 100 | up 200', 'unobserved 300'])).toMatchObject({
      estimate: 0.9,
      mean: 0.9,
      unseen: ['service-1'],
    });
  });

  test('a group of which nothing was seen has no availability', () => {
    const nothing = { estimate: null, low: null, high: null, mean: null };
    expect(group(['unobserved 0'])).toMatchObject({ ...nothing, unseen: ['service-0'] });
    expect(group([])).toMatchObject({ ...nothing, seconds: [0, 0, 1_000, 0] });
  });

  test('two that were watched by turns only were never seen together', () => {
    expect(group(['up 0 | unobserved 500', 'unobserved 0 | up 500'])).toMatchObject({
      estimate: null,
      mean: 1,
    });
  });
});

/** Where each millisecond belongs, by the words of `groups.ts`; each member's own figures give its state there. */
function counted(members: readonly History[], window: { from: number; to: number }, now: number) {
  const counts = { up: 0, down: 0, unobserved: 0, planned: 0 };
  for (let at = window.from; at < Math.min(window.to, now); at += 1) {
    const each = members.map((member) => ({
      known: (member.spans[0]?.from ?? now) <= at,
      ...availabilityOf({ ...member, window: { from: at, to: at + 1 }, now }),
    }));
    const there = each.filter(({ known }) => known);
    if (each.some(({ plannedMs }) => plannedMs > 0)) counts.planned += 1;
    else if (there.length === 0 || there.some(({ unobservedMs }) => unobservedMs > 0))
      counts.unobserved += 1;
    else if (there.some(({ downMs }) => downMs > 0)) counts.down += 1;
    else counts.up += 1;
  }
  return counts;
}

const groups = fc.array(histories, { minLength: 1, maxLength: 3 }).map((members) => ({
  members,
  window: { from: 0, to: 120 },
  now: Math.max(...members.map(({ now }) => now)),
}));

/** Ends what lasts where the group looks at it: a history knows its own present only. */
const asOf = (member: History, now: number): History => ({ ...member, now });

const figuresOf = (
  members: readonly History[],
  asked: { window: History['window']; now: number },
) =>
  groupAvailabilityOf(
    members.map((member, nth) => ({ serviceId: `${nth}`, history: asOf(member, asked.now) })),
    asked,
  );

test('every time is the number of milliseconds that the model counts', () => {
  fc.assert(
    fc.property(groups, ({ members, window, now }) => {
      const figures = figuresOf(members, { window, now });
      const took = members.filter((_, nth) => !figures.unseen.includes(`${nth}`));
      const model = counted(
        took.map((member) => asOf(member, now)),
        window,
        now,
      );
      const { upMs, downMs, unobservedMs, plannedMs } = figures;
      expect({ up: upMs, down: downMs, unobserved: unobservedMs, planned: plannedMs }).toEqual(
        model,
      );
    }),
  );
});

test('a group of one has the figures of that one', () => {
  fc.assert(
    fc.property(histories, (member) => {
      const { window, now } = member;
      const alone = availabilityOf(member);
      const figures = figuresOf([member], { window, now });
      if (figures.unseen.length > 0) return;
      expect(figures).toMatchObject({
        estimate: alone.estimate,
        low: alone.low,
        high: alone.high,
        mean: alone.estimate,
        upMs: alone.upMs + alone.degradedMs,
        downMs: alone.downMs,
        unobservedMs: alone.unobservedMs,
        plannedMs: alone.plannedMs,
      });
    }),
  );
});

test('the bounds hold the estimate, and the order of the members does not matter', () => {
  fc.assert(
    fc.property(groups, ({ members, window, now }) => {
      const figures = figuresOf(members, { window, now });
      const { low, estimate, high } = figures;
      if (low !== null && estimate !== null && high !== null) {
        expect(0 <= low && low <= estimate && estimate <= high && high <= 1).toBe(true);
      } else expect([low, estimate, high]).toEqual([null, null, null]);
      const { mean, unseen, ...turned } = figuresOf([...members].reverse(), { window, now });
      expect(figures).toMatchObject(turned);
      expect(mean ?? -1).toBeCloseTo(figures.mean ?? -1, 12);
      expect(unseen).toHaveLength(figures.unseen.length);
    }),
  );
});

test('where all were watched all the time a group is no better than its worst, and no worse than all their down time together', () => {
  const watched = histories.map((member) => ({
    ...member,
    planned: [],
    spans: member.spans.map((span, nth) => ({
      ...span,
      state: span.state === 'unobserved' ? ('up' as const) : span.state,
      from: nth === 0 ? 0 : (member.spans[nth - 1]?.to ?? span.from),
    })),
  }));
  fc.assert(
    fc.property(fc.array(watched, { minLength: 1, maxLength: 3 }), (members) => {
      const usable = members.filter(({ spans }) => spans.length > 0);
      fc.pre(usable.length > 0);
      const to = Math.min(...usable.map(({ spans, now }) => spans.at(-1)?.to ?? now));
      fc.pre(to > 0);
      const asked = { window: { from: 0, to }, now: to };
      const own = usable.map(
        (member) => availabilityOf({ ...member, ...asked }).estimate ?? Number.NaN,
      );
      const { estimate } = figuresOf(usable, asked);
      expect(estimate).toBeLessThanOrEqual(Math.min(...own) + 1e-12);
      const lost = own.reduce((sum, share) => sum + 1 - share, 0);
      expect(estimate).toBeGreaterThanOrEqual(1 - lost - 1e-12);
    }),
  );
});
