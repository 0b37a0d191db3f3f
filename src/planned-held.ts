/**
 * Until when services were planned, as it was known last: what is held until then moves along where a configuration read
 * again, or another one after a stop, says otherwise. The record keeps it in a few words.
 */
import type { NoticeEdit, Record } from './record/record.ts';
import { heldMoves } from './tell/planned-hold.ts';

const heldName = 'planned:until';

export interface HeldGiven {
  readonly serviceIds: readonly string[];
  readonly now: number;
  /** When the planned time is over in which a service is now; null: it is in none. */
  readonly untilOf: (serviceId: string) => number | null;
}

/** What is to be kept, with each change of planned time. */
export function heldKept({ serviceIds, untilOf }: HeldGiven) {
  const ends = serviceIds.flatMap((id): [string, number][] => {
    const to = untilOf(id);
    return to === null ? [] : [[id, to]];
  });
  return { name: heldName, words: JSON.stringify(Object.fromEntries(ends)) };
}

/** What moves since that was kept. What was due by now goes out as it is. */
export async function heldSince(
  record: Pick<Record, 'kept'>,
  { serviceIds, now, untilOf }: HeldGiven,
): Promise<readonly NoticeEdit[]> {
  const before = endsIn(await record.kept(heldName));
  return heldMoves(
    serviceIds,
    (id) => {
      const to = before.get(id) ?? now;
      return to > now ? to : null;
    },
    (id) => untilOf(id) ?? now,
  );
}

function endsIn(words: string | null): ReadonlyMap<string, number> {
  const kept: unknown = words === null ? {} : JSON.parse(words);
  const pairs = typeof kept === 'object' && kept !== null ? Object.entries(kept) : [];
  return new Map(pairs.filter((pair): pair is [string, number] => typeof pair[1] === 'number'));
}
