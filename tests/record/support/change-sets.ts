/** Numbered change sets, each of which touches every table, so that half of one would show. */
import type { ChangeSet, ObservationEntry } from '../../../src/record/record.ts';
import {
  answered,
  changes,
  failed,
  memory,
  notice,
  outage,
  second,
  t0,
  unconfirmedFailure,
} from './values.ts';

export const serviceId = 'kiln-logger';

/** Routine observations in each, beside the decisive one. */
export const routineCount = 4;

export function changeSetNumber(number: number): {
  readonly routine: readonly ObservationEntry[];
  readonly set: ChangeSet;
} {
  const at = t0 + number * 60 * second;
  const begun = outage(serviceId, at, { restoredAt: at + 10 * second });
  return {
    routine: Array.from({ length: routineCount }, (_, place) => ({
      serviceId,
      observation: answered(at - (routineCount - place) * second, { facts: { number } }),
    })),
    set: changes({
      observations: [{ serviceId, observation: failed(at) }],
      memories: [{ serviceId, memory: memory({ lastAt: at }) }],
      spans: [
        {
          serviceId,
          edits: [
            { state: 'down', from: at, earliestFrom: at - second },
            { state: 'up', from: at + 10 * second, earliestFrom: at + 5 * second },
          ],
        },
      ],
      outages: [begun],
      unconfirmed: [unconfirmedFailure(serviceId, at - 20 * second)],
      notices: [
        { kind: 'add', notice: notice(`down-${number}`, { outageId: begun.id, serviceId }) },
        {
          kind: 'restore',
          outageId: begun.id,
          notice: notice(`up-${number}`, {
            type: 'rollcall.service.up',
            outageId: begun.id,
            serviceId,
          }),
        },
      ],
    }),
  };
}
