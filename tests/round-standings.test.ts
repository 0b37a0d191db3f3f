/** Whoever hears of an answer finds another number than before: nothing that is kept is older than what was told. */
import { expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import type { Outcome } from '../src/base/values.ts';
import { type RoundService, Rounds } from '../src/round.ts';
import { simulatedClock } from './support/clock-simulated.ts';
import { observation } from './support/observations.ts';
import { memoryRecord } from './support/record-memory.ts';

const everyMs = 10_000;
const services = [
  serviceOf('gateway'),
  serviceOf('nas'),
  serviceOf('db', { needs: ['nas'] }),
  serviceOf('far', { through: ['gateway'] }),
];

function serviceOf(id: string, more: Partial<RoundService<string>> = {}): RoundService<string> {
  return {
    ...{ id, needs: [], through: [], everyMs, timeoutMs: 1_000, recheckMs: 2_000 },
    ...{ confirm: 2, restore: 1, unanswered: 'down', slowMs: null, slower: {} },
    ...{ fingerprint: 'settings', probe: id },
    ...more,
  };
}

interface Seen {
  readonly revision: number;
  /** How all of them stand, as text. */
  readonly standings: string;
}

function house() {
  const clock = simulatedClock({ wallMs: 1_795_579_200_000 });
  const failing = new Set<string>();
  const heard: Seen[] = [];
  const outcomeOf = (id: string): Outcome => (failing.has(id) ? 'failed' : 'answered');
  const rounds = new Rounds<string>({
    ...{ clock, log: silentLog, record: memoryRecord() },
    ask: async (id) => observation(clock.wallMs(), outcomeOf(id)),
    draft: () => [],
    tell: () => {},
    show: () => heard.push(seen()),
    signal: new AbortController().signal,
  });
  const seen = (): Seen => ({
    revision: rounds.revision(),
    standings: JSON.stringify(services.map(({ id }) => rounds.standingOf(id))),
  });
  const turn = async () => {
    for (const { id } of services) await rounds.round(id);
    await clock.advance(everyMs);
  };
  return { clock, rounds, failing, heard, seen, turn };
}

function expectOneEach(all: readonly Seen[]): void {
  const byRevision = new Map<number, string>();
  for (const { revision, standings } of all) {
    expect(byRevision.get(revision) ?? standings).toBe(standings);
    byRevision.set(revision, standings);
  }
}

test('failures, causes found out later, a gateway that is gone, and the way back', async () => {
  const { rounds, failing, heard, seen, turn } = house();
  const all = [seen()];
  await rounds.replace(services);
  all.push(seen());
  await turn();
  // What it needs fails after it, so that it is put behind its cause by a round of another.
  for (const id of ['db', 'nas', 'gateway', 'far']) {
    failing.add(id);
    await turn();
    await turn();
  }
  failing.clear();
  await turn();
  expectOneEach([...all, ...heard]);
  expect(new Set(heard.map(({ standings }) => standings)).size).toBe(heard.length);
  expect(seen()).toEqual(heard.at(-1));
});

test('a gap that is closed by another start', async () => {
  const { clock, rounds, seen, turn } = house();
  await rounds.replace(services);
  await turn();
  const before = seen();
  await clock.advance(10 * everyMs);
  await rounds.replace(services);
  expect(seen().standings).not.toBe(before.standings);
  expectOneEach([before, seen()]);
});
