/**
 * Until when services were planned, as it was known last: what is held until then moves along where a configuration read
 * again, or another one after a stop, says otherwise, and is not told where that does not know the service any more. The
 * record keeps it in a few words.
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
  record: Pick<Record, 'kept' | 'outages'>,
  { serviceIds, now, untilOf }: HeldGiven,
): Promise<readonly NoticeEdit[]> {
  const before = endsIn(await record.kept(heldName));
  const gone = [...before.keys()].filter((id) => !serviceIds.includes(id));
  const withdrawn: NoticeEdit[] = [];
  for (const id of gone) withdrawn.push(...(await withdrawnOf(record, id, now)));
  const moves = heldMoves(
    serviceIds,
    (id) => {
      const to = before.get(id) ?? now;
      return to > now ? to : null;
    },
    (id) => untilOf(id) ?? now,
  );
  return [...withdrawn, ...moves];
}

/** As if it had come up, but told to nobody: who takes a service away in planned time knows of it. */
async function withdrawnOf(
  record: Pick<Record, 'outages'>,
  serviceId: string,
  now: number,
): Promise<readonly NoticeEdit[]> {
  const outages = await record.outages(serviceId, { from: now, to: Number.MAX_SAFE_INTEGER });
  return outages
    .filter(({ restoredAt }) => restoredAt === null)
    .map(({ id: outageId }) => ({
      kind: 'restore',
      outageId,
      notice: {
        ...{ id: outageId, type: 'rollcall.service.up', at: now, notBefore: now },
        ...{ serviceId, outageId, data: { summary: '' }, channels: [] },
      },
    }));
}

function endsIn(words: string | null): ReadonlyMap<string, number> {
  const kept: unknown = words === null ? {} : JSON.parse(words);
  const pairs = typeof kept === 'object' && kept !== null ? Object.entries(kept) : [];
  return new Map(pairs.filter((pair): pair is [string, number] => typeof pair[1] === 'number'));
}
