/**
 * What asking at intervals can know: the errors of the record are those of sampling and no others. The formulas are
 * standard results of interval-censored data (Turnbull, J. R. Statist. Soc. B 38 (1976) 290–295), of periodic tests
 * (IEC 61508-6, Annex B), of the two-state Markov process (Takács) and of success runs (Feller, An Introduction to
 * Probability Theory, vol. 1, XIII.7). The sources are named from memory; figures in brackets (C16 …) were recomputed in
 * exact arithmetic by another program. Fixed seeds; tolerances are four standard errors, which a right program misses
 * once in 16 000.
 */
import { describe, expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { intersect, totalMs, union } from '../../src/uptime/intervals.ts';
import { stretchesOf } from '../../src/uptime/timeline.ts';
import { chance } from './chance.ts';
import { type Course, courseOf, markovCourse } from './course.ts';
import { lived, trueOutages } from './lived.ts';
import type { SimulatedService } from './world.ts';

const seed = 20_261_125;
const secondMs = 1_000;
const dayMs = 24 * 3_600 * secondMs;
const everyMs = 30 * secondMs;

/** Asked every 30 s and only then: what is confirmed at once, or asked again in its turn. */
function sampled(
  id: string,
  course: Course,
  more: Partial<SimulatedService> = {},
): SimulatedService {
  return {
    id,
    everyMs,
    timeoutMs: 5 * secondMs,
    recheckMs: everyMs,
    confirm: 1,
    restore: 1,
    unanswered: 'down',
    silent: false,
    hangs: false,
    needs: [],
    through: [],
    course,
    latency: { medianMs: 20, sigma: 0.7 },
    loss: 0,
    ...more,
  };
}

const alwaysGood = courseOf([{ lastsMs: 0, condition: 'good' }]);

describe('outages of no fixed length, asked every 30 s', () => {
  const upMs = 1_200 * secondMs;
  const lastsMs = 20 * dayMs;
  // C16: T = 30 s; of the mean m a share (m/T)(1 − e^(−T/m)) is seen, and looks T/(1 − e^(−T/m)) long.
  const published = [
    { meanMs: 10 * secondMs, seen: 0.3167376438773787, lengthMs: 31_571.87089473768 },
    { meanMs: 30 * secondMs, seen: 0.6321205588285577, lengthMs: 47_459.30120607979 },
    { meanMs: 60 * secondMs, seen: 0.7869386805747332, lengthMs: 76_244.82247610395 },
    { meanMs: 300 * secondMs, seen: 0.9516258196404048, lengthMs: 315_249.9583432513 },
  ];
  const services = published.map(({ meanMs }) =>
    sampled(
      `mean-${meanMs}`,
      markovCourse(chance(seed, `mean ${meanMs}`), { lastsMs, upMs, downMs: meanMs }),
    ),
  );
  const living = lived({ seed, services, lastsMs });

  /** True outages that began and ended while it was watched, and the record's that show them. */
  async function compared(service: SimulatedService) {
    const { entriesOf, looksOf, endedAt } = await living;
    const { spans, outages, unconfirmed } = entriesOf(service.id);
    const looks = looksOf(service.id);
    const window = {
      from: looks[0]?.observation.at ?? 0,
      to: looks.at(-1)?.observation.at ?? 0,
    };
    const truth = trueOutages(service, endedAt).filter(
      ({ from, to }) => window.from < from && to < window.to,
    );
    const seen = truth.filter(({ from, to }) =>
      outages.some((outage) => outage.firstFailedAt < to && from <= outage.lastFailedAt),
    );
    const figures = availabilityOf({
      spans,
      outages,
      unconfirmed,
      planned: [],
      window,
      now: endedAt,
    });
    const course = stretchesOf({ spans, outages, now: endedAt });
    const stretches = course.filter(({ state }) => state === 'down');
    return { truth, seen, window, figures, stretches };
  }

  test('the estimate is unbiased: its error is that of so many ends known to half an interval', async () => {
    for (const service of services) {
      const { truth, window, figures } = await compared(service);
      const trueDownMs = totalMs(intersect(union(truth), union([window])));
      // At a random phase the share of samples is unbiased. Of one outage the error has a variance of T² f (1 − f) ≤ T²/4, f the part of an interval left over.
      const deviationMs = (everyMs / 2) * Math.sqrt(truth.length);
      expect(Math.abs(figures.downMs - trueDownMs)).toBeLessThan(4 * deviationMs);
      expect(truth.length).toBeGreaterThan(1_000);
    }
  });

  test.each(published)(
    'of mean $meanMs ms a share of $seen is seen, and looks as long as it must',
    async ({ meanMs, seen: share, lengthMs }) => {
      const service = services.find(({ id }) => id === `mean-${meanMs}`) as SimulatedService;
      const { truth, seen, figures } = await compared(service);
      const shareDeviation = Math.sqrt((share * (1 - share)) / truth.length);
      expect(Math.abs(seen.length / truth.length - share)).toBeLessThan(4 * shareDeviation);
      // Failed answers in a row have a geometric distribution with q = 1 − e^(−T/m): mean 1/q, variance (1 − q)/q².
      const q = 1 - Math.exp(-everyMs / meanMs);
      const lengthDeviation = (everyMs * Math.sqrt(1 - q)) / q / Math.sqrt(seen.length);
      expect(Math.abs(figures.downMs / seen.length - lengthMs)).toBeLessThan(4 * lengthDeviation);
    },
  );

  test('the beginning is known to half an interval, and on average to a quarter', async () => {
    const service = services.at(-1) as SimulatedService;
    const { truth, stretches } = await compared(service);
    const errors = truth
      .filter(({ from, to }) => to - from > everyMs)
      .flatMap(({ from, to }) => {
        const down = stretches.find(
          ({ begins }) => begins.earliest < from && from <= begins.latest,
        );
        return down && to > down.begins.latest ? [down.begins.middle - from] : [];
      });
    // Uniform between −T/2 and T/2; |error| is uniform up to T/2, with a deviation of T/√48.
    const mean = sumOf(errors.map(Math.abs)) / errors.length;
    expect(errors.length).toBeGreaterThan(900);
    expect(Math.max(...errors.map(Math.abs))).toBeLessThanOrEqual(everyMs / 2 + secondMs);
    expect(Math.abs(mean - everyMs / 4)).toBeLessThan(
      (4 * everyMs) / Math.sqrt(48 * errors.length),
    );
    const variance = sumOf(errors.map((error) => error ** 2)) / errors.length;
    // The square of a uniform error has a deviation of T²/√180.
    expect(Math.abs(variance - everyMs ** 2 / 12)).toBeLessThan(
      (4 * everyMs ** 2) / Math.sqrt(180 * errors.length),
    );
  });
});

describe('days of one service', () => {
  /** Two-state Markov process, sampled n times: ρ = e^(−(λ+μ)T), n_eff = n (1 − ρ)/(1 + ρ). */
  function sampledDay(upMs: number, downMs: number) {
    const n = dayMs / everyMs;
    const rho = Math.exp(-(1 / upMs + 1 / downMs) * everyMs);
    const effective = (n * (1 - rho)) / (1 + rho);
    const share = upMs / (upMs + downMs);
    return { rho, effective, deviation: Math.sqrt((share * (1 - share)) / effective), n, share };
  }

  test('the formula gives the published figures', () => {
    // C18 and C19.
    const c18 = sampledDay(10 * dayMs, 1_800 * secondMs);
    expect(c18.rho).toBeCloseTo(0.9834373061000945, 12);
    expect(c18.effective).toBeCloseTo(24.049440980576488, 9);
    expect(c18.deviation).toBeCloseTo(0.009288018021675889, 12);
    const c19 = sampledDay(dayMs, 300 * secondMs);
    expect(c19.rho).toBeCloseTo(0.9045232929156864, 12);
    expect(c19.effective).toBeCloseTo(144.37886762826594, 8);
  });

  test('availability scatters from day to day as of so few samples, not as of all of them', async () => {
    const [upMs, downMs, days] = [3_600 * secondMs, 300 * secondMs, 60];
    const course = markovCourse(chance(seed, 'days'), { lastsMs: days * dayMs, upMs, downMs });
    const service = sampled('days', course);
    const { entriesOf, looksOf, endedAt } = await lived({
      seed,
      services: [service],
      lastsMs: days * dayMs,
    });
    const entries = entriesOf('days');
    const first = looksOf('days')[0]?.observation.at ?? 0;
    const shares = Array.from({ length: days - 1 }, (_, day) => {
      const window = { from: first + day * dayMs, to: first + (day + 1) * dayMs };
      return availabilityOf({ ...entries, planned: [], window, now: endedAt }).estimate ?? 0;
    });
    const expected = sampledDay(upMs, downMs);
    const variance = sumOf(shares.map((share) => (share - expected.share) ** 2)) / shares.length;
    // Of a variance from k nearly normal values the deviation is √(2/k) of itself.
    const tolerance = 4 * Math.sqrt(2 / shares.length);
    expect(Math.abs(variance / expected.deviation ** 2 - 1)).toBeLessThan(tolerance);
    const binomial = (expected.share * (1 - expected.share)) / expected.n;
    expect(variance / binomial).toBeGreaterThan(5);
    expect(Math.abs(sumOf(shares) / shares.length - expected.share)).toBeLessThan(
      (4 * expected.deviation) / Math.sqrt(shares.length),
    );
  });
});

/** Separate runs of at least k in n independent trials, expected: p^k + (n − k)(1 − p)p^k. (n·p^k counts overlaps.) */
function falseAlarms(p: number, k: number, n: number): number {
  return p ** k + (n - k) * (1 - p) * p ** k;
}

describe('lost packets', () => {
  test('the formula gives the published figures', () => {
    // H1, H4, H7, H10, H12 at N = 86 400.
    expect(falseAlarms(0.001, 1, 86_400)).toBeCloseTo(86.313601, 6);
    expect(falseAlarms(0.005, 2, 86_400)).toBeCloseTo(2.14917525, 8);
    expect(falseAlarms(0.01, 2, 86_400)).toBeCloseTo(8.553502, 6);
    expect(falseAlarms(0.02, 2, 86_400)).toBeCloseTo(33.868416, 6);
    expect(falseAlarms(0.05, 3, 86_400)).toBeCloseTo(10.25976875, 8);
  });

  const losses = [
    { loss: 0.01, confirm: 1, recheckMs: everyMs },
    { loss: 0.01, confirm: 2, recheckMs: everyMs },
    { loss: 0.02, confirm: 2, recheckMs: everyMs },
    { loss: 0.05, confirm: 3, recheckMs: everyMs },
    { loss: 0.05, confirm: 2, recheckMs: 5 * secondMs },
  ];
  const services = losses.map((more, nth) => sampled(`loss-${nth}`, alwaysGood, more));
  const living = lived({ seed, services, lastsMs: 30 * dayMs });

  test.each(losses.map((loss, nth) => ({ ...loss, id: `loss-${nth}` })))(
    'make as many false outages as they must: $loss lost, $confirm to confirm, again after $recheckMs ms',
    async ({ id, loss, confirm, recheckMs }) => {
      const { entriesOf, looksOf } = await living;
      const count = looksOf(id).length;
      if (recheckMs === everyMs) expect(Math.abs(count - 86_400)).toBeLessThan(10);
      const expected = falseAlarms(loss, confirm, count);
      const { outages, unconfirmed } = entriesOf(id);
      // Rare and nearly independent: a Poisson number, of which the variance is the mean.
      expect(Math.abs(outages.length - expected)).toBeLessThan(4 * Math.sqrt(expected));
      expect(expected).toBeGreaterThan(8);
      // Runs that were too short are the rest: those of at least one, without those of at least k.
      const short = falseAlarms(loss, 1, count) - expected;
      expect(Math.abs(unconfirmed.length - short)).toBeLessThan(4 * Math.sqrt(short) + 1);
    },
  );
});

describe('the delay until an outage is confirmed', () => {
  test('lies between its bounds, and half an interval above the least on average', async () => {
    // T = 30, k = 3, R = 10, the verdict known at once as far as instants of the record go: 20 / 35 / 50 s.
    const lastsMs = 20 * dayMs;
    const course = markovCourse(chance(seed, 'delay'), {
      lastsMs,
      upMs: 1_800 * secondMs,
      downMs: 600 * secondMs,
    });
    const service = sampled('delay', course, { confirm: 3, recheckMs: 10 * secondMs });
    const { entriesOf, endedAt } = await lived({ seed, services: [service], lastsMs });
    const { outages } = entriesOf('delay');
    const delays = trueOutages(service, endedAt)
      .filter(({ from, to }) => to - from > 60 * secondMs)
      .flatMap(({ from, to }) => {
        const outage = outages.find((one) => from <= one.firstFailedAt && one.firstFailedAt < to);
        return outage ? [outage.confirmedAt - from] : [];
      });
    expect(delays.length).toBeGreaterThan(500);
    expect(Math.min(...delays)).toBeGreaterThanOrEqual(20 * secondMs);
    // The timetable keeps clear of its grid by a moment: a second at most.
    expect(Math.max(...delays)).toBeLessThanOrEqual(52 * secondMs);
    const mean = sumOf(delays) / delays.length;
    const latencyMs = 2 * 30;
    expect(Math.abs(mean - (35 * secondMs + latencyMs))).toBeLessThan(
      (4 * everyMs) / Math.sqrt(12 * delays.length),
    );
  });
});

function sumOf(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0);
}
