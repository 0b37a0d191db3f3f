/** What a service said of itself, and when it said something else than before. */
import type { FactChangeProps, FactProps } from '../../web/props-service.ts';
import { parseInstant } from '../base/instants.ts';
import { factChangesOnPageCountMax, nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Facts } from '../base/values.ts';
import type { Board } from './board.ts';

export function factsOf(board: Pick<Board, 'zone' | 'clock'>, facts: Facts): FactProps[] {
  const say = saidOn(board);
  return Object.entries(facts).map(([key, value]) => ({ word: wordOf(key), value: say(value) }));
}

/** Newest first: each fact that became another one. What was told for the first time ever is no change. */
export async function factChanges(board: Board, serviceId: string): Promise<FactChangeProps[]> {
  const now = board.clock.wallMs();
  const say = saidOn(board);
  const changes = await board.record.factsChanges(
    serviceId,
    { from: 0, to: now + 1 },
    factChangesOnPageCountMax,
  );
  return changes
    .flatMap(({ at, before, after }) =>
      differing(before, after).map((key) => ({
        at: board.zone.exact(at, now),
        word: wordOf(key),
        before: before[key] === undefined ? null : say(before[key]),
        after: after[key] === undefined ? null : say(after[key]),
      })),
    )
    .slice(0, factChangesOnPageCountMax);
}

function differing(before: Facts, after: Facts): string[] {
  return [...new Set([...Object.keys(before), ...Object.keys(after)])].filter(
    (key) => before[key] !== after[key],
  );
}

/** `serverVersion` → `server version`. */
function wordOf(key: string): string {
  return cleanText(key.replace(/([a-z0-9])([A-Z])/g, '$1 $2').toLowerCase(), nameCharsMax);
}

/** An instant, as the end of a certificate, stands on the clock of the board. */
function saidOn({ zone, clock }: Pick<Board, 'zone' | 'clock'>): (value: Facts[string]) => string {
  return (value) => {
    if (typeof value === 'boolean') return value ? 'yes' : 'no';
    const at = typeof value === 'string' ? parseInstant(value) : null;
    return at === null ? cleanText(String(value)) : zone.moment(at, clock.wallMs()).text;
  };
}
