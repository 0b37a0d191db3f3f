/** Thirty days of a service in words: availability, outages, mean times, and what is left of the budget of its objective. */
import type { FigureProps } from '../../web/props.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Availability } from '../uptime/availability.ts';
import { allowedDownMs, burnRate } from '../uptime/budget.ts';
import { mtbfConfidence } from '../uptime/mtbf-bounds.ts';
import type { Board } from './board.ts';
import { figuresWindowMs } from './figures.ts';
import { figuresProps } from './lane-props.ts';
import { sayLasting, unbroken } from './zone.ts';

export function figureWords(days: Availability): FigureProps[] {
  const { share, bounds, outages, restored } = figuresProps(days);
  const observedMs = days.upMs + days.degradedMs + days.downMs;
  return [
    {
      word: 'Availability',
      value: share ?? 'nothing observed',
      aside: bounds,
      meaning:
        bounds === null
          ? 'Share of the observed time in which it was up; degraded counts as up.'
          : 'Share of the observed time in which it was up; degraded counts as up. An outage begins and ends between two answers: the bounds say how much that may be.',
    },
    {
      word: 'Outages',
      value: outages,
      aside: days.downMs === 0 ? null : `${sayLasting(days.downMs)} in all`,
      meaning: 'Failures that a second question confirmed.',
    },
    {
      word: 'Mean time to restoration',
      value: restored ?? 'none to measure',
      aside: null,
      meaning: 'From the failure until it answered again, the time to notice included.',
    },
    {
      word: 'Mean time between failures',
      value: days.mtbfMs === null ? 'no failure' : sayLasting(days.mtbfMs),
      aside: sayMtbfBounds(days),
      meaning: `Up time for each failure, and how far so few failures can be trusted (${mtbfConfidence * 100} % confidence).`,
    },
    {
      word: 'Observed',
      value: sayLasting(observedMs),
      aside: days.unobservedMs === 0 ? null : `of ${sayLasting(figuresWindowMs)}`,
      meaning: 'Time that nobody watched counts neither as up nor as down.',
    },
  ];
}

const hourMs = 3_600_000;

/** Empty where the service has no objective. */
export async function budgetWords(
  board: Board,
  { id, objective }: ServiceCard,
  days: Availability,
): Promise<FigureProps[]> {
  if (objective === null) return [];
  const now = board.clock.wallMs();
  const over = (ms: number) => board.figures.availability(id, { from: now - ms, to: now });
  const [hour, day] = await Promise.all([over(hourMs), over(24 * hourMs)]);
  const allowedMs = allowedDownMs(days.upMs + days.degradedMs + days.downMs, objective);
  const leftMs = allowedMs - days.downMs;
  return [
    {
      word: 'Objective',
      value: unbroken(`${Number((objective * 100).toFixed(4))} %`),
      aside: `allows ${sayLasting(allowedMs)} of down time`,
      meaning: 'Of the observed time of 30 days.',
    },
    {
      word: leftMs < 0 ? 'Overdrawn by' : 'Left of it',
      value: sayLasting(Math.abs(leftMs)),
      aside: usedText(burnRate(days, objective)),
      meaning: 'As outages leave the 30 days behind, their share comes back.',
    },
    {
      word: 'Used up at present',
      value: rateText(burnRate(hour, objective)),
      aside: 'in the last hour',
      meaning: `In the last day: ${rateText(burnRate(day, objective))}. At 1 × it lasts just the 30 days.`,
    },
  ];
}

function usedText(rate: number | null): string | null {
  return rate === null ? null : unbroken(`${Math.round(rate * 100)} % are used`);
}

/** How many times as fast as the objective allows. */
function rateText(rate: number | null): string {
  if (rate === null) return 'not known';
  return `${rate === 0 ? '0' : rate.toFixed(rate < 10 ? 1 : 0)}\u00a0×`;
}

/** Failures up to which the bounds are worth a line: beyond that the mean speaks for itself. */
const fewFailuresCountMax = 10;

function sayMtbfBounds({ mtbfBounds, outages }: Availability): string | null {
  if (!mtbfBounds || outages > fewFailuresCountMax) return null;
  const { lowMs, highMs } = mtbfBounds;
  // After so short a time nothing can be said of it.
  if (lowMs < 1_000) return null;
  if (highMs === null) return `probably more than ${sayLasting(lowMs)}`;
  return `probably ${sayLasting(lowMs)} to ${sayLasting(highMs)}`;
}
