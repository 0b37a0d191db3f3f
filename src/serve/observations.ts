/** Observations for the API: one by one, or by steps. */
import { formatDuration } from '../base/durations.ts';
import { instantText } from '../base/instants.ts';
import { historyRangeMsMax, observationsRangeMsMax, pointsCountMax } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Range } from '../record/record.ts';
import type { Board } from './board.ts';
import { rangeOf, wrong } from './ranges.ts';

interface Query {
  readonly from?: number | undefined;
  readonly to?: number | undefined;
  readonly step?: number | undefined;
}

export async function observationsBody(board: Board, card: ServiceCard, query: Query) {
  const now = board.clock.wallMs();
  return query.step === undefined
    ? oneByOne(board, card, rangeOf(query, now, historyRangeMsMax))
    : bySteps(board, card, rangeOf(query, now, observationsRangeMsMax), query.step);
}

async function oneByOne(board: Board, { id }: ServiceCard, range: Range) {
  const found = await board.record.observations(id, range, pointsCountMax + 1);
  return {
    from: instantText(range.from),
    to: instantText(range.to),
    stepMs: null,
    complete: found.length <= pointsCountMax,
    points: found
      .slice(-pointsCountMax)
      .map(({ at, outcome, tookUs }) => ({ at: instantText(at), outcome, tookUs })),
  };
}

async function bySteps(board: Board, { id }: ServiceCard, range: Range, stepMs: number) {
  if ((range.to - range.from) / stepMs > pointsCountMax) {
    const least = Math.ceil((range.to - range.from) / pointsCountMax / 1_000) * 1_000;
    throw wrong(
      'step',
      `expected at most ${pointsCountMax} steps: at least ${formatDuration(least)} for this range`,
    );
  }
  const steps = await board.record.steps(id, range, stepMs);
  return {
    from: instantText(range.from),
    to: instantText(range.to),
    stepMs,
    points: steps.map(({ at, ...figures }) => ({ at: instantText(at), ...figures })),
  };
}
