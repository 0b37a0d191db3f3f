/**
 * Change sets that come close together are written together. Each commit waits for the disk, and while it does nobody is
 * asked; when thousands change at once (a first start, a gateway that is gone), one by one they would fill all the time.
 */
import type { Clock } from '../base/clock.ts';
import { RollcallError } from '../base/errors.ts';
import type { ChangeSet, Record } from './record.ts';

type Commit = Record['commit'];

interface Waiting {
  readonly set: ChangeSet;
  readonly resolve: () => void;
  readonly reject: (thrown: unknown) => void;
}

/** After a commit that took so long, the next one begins this many times as long later: a fifth of the time at most is theirs. */
const restFactor = 4;
/** But nothing waits longer, however slow the disk is. */
const restMsMax = 1_000;
/** One transaction holds so many at most. */
const togetherCountMax = 1_000;

/**
 * The same record; its commits may wait for each other. In order; what is alone is written at once. Where a set is refused
 * for what is in it, the others of its group are written all the same.
 */
export function gatheringRecord(
  record: Record,
  clock: Pick<Clock, 'monotonicMs' | 'after'>,
): Record {
  const waiting: Waiting[] = [];
  let restUntilMs = Number.NEGATIVE_INFINITY;
  let isBusy = false;

  const writeAll = async (): Promise<void> => {
    while (waiting.length > 0) {
      const leftMs = restUntilMs - clock.monotonicMs();
      if (leftMs > 0) {
        clock.after(leftMs, () => void writeAll());
        return;
      }
      const beganMs = clock.monotonicMs();
      await written(record.commit, waiting.splice(0, togetherCountMax));
      const endedMs = clock.monotonicMs();
      restUntilMs = endedMs + Math.min((endedMs - beganMs) * restFactor, restMsMax);
    }
    isBusy = false;
  };

  return {
    ...record,
    commit: (set) =>
      new Promise<void>((resolve, reject) => {
        waiting.push({ set, resolve, reject });
        if (isBusy) return;
        isBusy = true;
        void writeAll();
      }),
  };
}

async function written(commit: Commit, group: readonly Waiting[]): Promise<void> {
  try {
    await commit(joined(group.map(({ set }) => set)));
    for (const { resolve } of group) resolve();
  } catch (thrown) {
    const waitsInMemory = thrown instanceof RollcallError && thrown.code === 'data-folder-unusable';
    if (group.length === 1 || waitsInMemory) {
      for (const { reject } of group) reject(thrown);
    } else {
      for (const one of group) await written(commit, [one]);
    }
  }
}

/** One set of several, in their order. */
export function joined(sets: readonly ChangeSet[]): ChangeSet {
  const [first] = sets;
  if (first && sets.length === 1) return first;
  const all = <Item>(listOf: (set: ChangeSet) => readonly Item[] | undefined): readonly Item[] =>
    sets.flatMap((set) => listOf(set) ?? []);
  const together: Required<ChangeSet> = {
    observations: all((set) => set.observations),
    memories: all((set) => set.memories),
    spans: all((set) => set.spans),
    outages: all((set) => set.outages),
    unconfirmed: all((set) => set.unconfirmed),
    notices: all((set) => set.notices),
    planned: all((set) => set.planned),
    known: all((set) => set.known),
    runs: all((set) => set.runs),
    keeps: all((set) => set.keeps),
  };
  return together;
}
