/** What every engine behind the Record port must do. One suite, run for each. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Observation } from '../../src/base/values.ts';
import type { Record } from '../../src/record/record.ts';
import {
  always,
  answered,
  changes,
  failed,
  hour,
  memory,
  minute,
  outage,
  pulse,
  second,
  t0,
  unconfirmedFailure,
} from '../record/support/values.ts';

export interface OpenedRecord {
  readonly record: Record;
  /** Closes it and opens it again, as after a restart of the daemon. */
  reopen(): Promise<Record>;
  /** Puts away what it left. */
  end(): Promise<void>;
}

export function recordContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`the record (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const edit = (state: 'up' | 'degraded' | 'down' | 'unobserved', from: number, back = second) =>
      ({ state, from, earliestFrom: from - back }) as const;
    const spansOf = (serviceId: string, edits: readonly ReturnType<typeof edit>[]) =>
      changes({ spans: [{ serviceId, edits }] });

    test('keeps its id over a restart', async () => {
      const again = await opened.reopen();
      expect(again.instanceId).toBe(record.instanceId);
      expect(record.instanceId).toMatch(/^[0-9a-f-]{36}$/);
    });

    describe('observations', () => {
      test('are seen at once, and after a restart the same to the last field', async () => {
        const full = failed(t0 + second, {
          tookUs: 5_000_123,
          phases: {
            resolveUs: 0,
            connectUs: 311,
            secureUs: 9_000,
            speakUs: 12,
            answerUs: 4_990_000,
          },
          facts: { serverVersion: '15.18 “Fernhill”', port: 5432, primary: true, load: 0.25 },
          trouble: { layer: 'answer', reason: 'slow', detail: 'took 5 s', hint: 'Ask the owner.' },
          outcome: 'limited',
        });
        const seen = [
          answered(t0),
          full,
          answered(t0 + 2 * second, { outcome: 'unproven', phases: { answerUs: 7 } }),
        ];
        for (const observation of seen) await record.observe({ serviceId: 'shop', observation });
        expect(await record.observations('shop', always)).toEqual(seen);

        const again = await opened.reopen();
        expect(await again.observations('shop', always)).toEqual(seen);
      });

      test('are given from the start of the range inclusive to its end exclusive', async () => {
        for (const at of [t0, t0 + 1, t0 + 2, t0 + 3]) {
          await record.observe({ serviceId: 'shop', observation: answered(at) });
        }
        const ats = async (countMax?: number) => {
          const found = await record.observations('shop', { from: t0 + 1, to: t0 + 3 }, countMax);
          return found.map(({ at }) => at - t0);
        };
        expect(await ats()).toEqual([1, 2]);
        expect(await ats(1)).toEqual([2]);
        expect(await ats(0)).toEqual([]);
        await record.flush(pulse(t0 + 4));
        expect(await ats()).toEqual([1, 2]);
        expect(await ats(1)).toEqual([2]);
        expect(await ats(0)).toEqual([]);
      });

      test('of written and waiting ones come in one order of time', async () => {
        await record.observe({ serviceId: 'shop', observation: answered(t0 + 2 * hour) });
        await record.observe({ serviceId: 'shop', observation: answered(t0) });
        await record.flush(pulse(t0));
        // The wall clock was set back in between.
        await record.observe({ serviceId: 'shop', observation: failed(t0 + hour) });
        const found = await record.observations('shop', always);
        expect(found.map(({ at }) => (at - t0) / hour)).toEqual([0, 1, 2]);
        const newest = await record.observations('shop', always, 2);
        expect(newest.map(({ at }) => (at - t0) / hour)).toEqual([1, 2]);
      });

      test('of one service say nothing of another', async () => {
        await record.observe({ serviceId: 'shop', observation: answered(t0) });
        await record.observe({ serviceId: 'nas', observation: failed(t0) });
        await record.flush(pulse(t0));
        expect(await record.observations('shop', always)).toEqual([answered(t0)]);
        expect(await record.observations('unheard-of', always)).toEqual([]);
      });

      test('show when a service told something else of itself, newest first, restart or not', async () => {
        const tells = async (minutes: number, facts: Observation['facts']) => {
          const observation = answered(t0 + minutes * minute, { facts });
          await record.observe({ serviceId: 'shop', observation });
        };
        await tells(0, { version: '15.1' });
        await tells(1, {});
        await tells(2, { version: '15.1' });
        await tells(3, { version: '15.2', ready: true });
        const changed = (minutes: number, before: object, after: object) => ({
          at: t0 + minutes * minute,
          before,
          after,
        });
        const first = changed(3, { version: '15.1' }, { version: '15.2', ready: true });
        expect(await record.factsChanges('shop', always, 9)).toEqual([first]);

        record = await opened.reopen();
        await tells(4, { version: '15.1' });
        const second = changed(4, { version: '15.2', ready: true }, { version: '15.1' });
        expect(await record.factsChanges('shop', always, 9)).toEqual([second, first]);
        expect(await record.factsChanges('shop', always, 1)).toEqual([second]);
        const until = { from: t0, to: t0 + 4 * minute };
        expect(await record.factsChanges('shop', until, 9)).toEqual([first]);
        expect(await record.factsChanges('nobody', always, 9)).toEqual([]);

        record = await opened.reopen();
        expect(await record.factsChanges('shop', always, 9)).toEqual([second, first]);
      });

      test('tell the facts of their own time', async () => {
        const told = [
          { version: '15' },
          { version: '15' },
          {},
          { version: '16' },
          { version: '15' },
        ];
        const seen = told.map((facts, place) => answered(t0 + place * minute, { facts }));
        for (const observation of seen) {
          await record.observe({ serviceId: 'shop', observation });
          await record.flush(pulse(observation.at));
        }
        const again = await opened.reopen();
        const later = answered(t0 + hour, { facts: { version: '15' } });
        await again.observe({ serviceId: 'shop', observation: later });
        await again.flush(pulse(t0 + hour));
        expect(await again.observations('shop', always)).toEqual([...seen, later]);
      });

      test('that are no fit values do not keep the others out', async () => {
        await record.observe({ serviceId: 'shop', observation: answered(t0) });
        await record.observe({ serviceId: 'shop', observation: answered(t0 + 1, { tookUs: 0.5 }) });
        await record.observe({ serviceId: 'shop', observation: answered(t0 + 2) });
        await record.flush(pulse(t0 + 3));
        expect(await record.observations('shop', always)).toEqual([answered(t0), answered(t0 + 2)]);
      });
    });

    describe('what is remembered', () => {
      test('is nothing for a service that is new', async () => {
        expect(await record.remembered('shop')).toEqual({ memory: null, last: null });
      });

      test('is the memory committed last and the observation that came last', async () => {
        const open = outage('shop', t0);
        const kept = memory({
          state: 'down',
          failedRun: { count: 2, firstAt: t0, lastAt: t0 + second },
          outage: open,
        });
        await record.commit(changes({ memories: [{ serviceId: 'shop', memory: memory() }] }));
        await record.commit(changes({ memories: [{ serviceId: 'shop', memory: kept }] }));
        await record.observe({ serviceId: 'shop', observation: failed(t0 + hour) });
        await record.flush(pulse(t0 + hour));
        await record.observe({ serviceId: 'shop', observation: answered(t0) });
        expect(await record.remembered('shop')).toEqual({ memory: kept, last: answered(t0) });
        const again = await opened.reopen();
        expect(await again.remembered('shop')).toEqual({ memory: kept, last: answered(t0) });
      });
    });

    describe('spans', () => {
      test('follow each other without a hole; the last one lasts', async () => {
        await record.commit(spansOf('shop', [edit('up', t0), edit('down', t0 + hour)]));
        await record.commit(spansOf('shop', [edit('up', t0 + 2 * hour)]));
        const spans = [
          { ...edit('up', t0), to: t0 + hour },
          { ...edit('down', t0 + hour), to: t0 + 2 * hour },
          { ...edit('up', t0 + 2 * hour), to: null },
        ];
        expect(await record.spans('shop', always)).toEqual(spans);
        const again = await opened.reopen();
        expect(await again.spans('shop', always)).toEqual(spans);
        expect(await again.spans('nas', always)).toEqual([]);
      });

      test('that touch a range are given whole', async () => {
        await record.commit(
          spansOf('shop', [edit('up', t0), edit('down', t0 + 10), edit('up', t0 + 20)]),
        );
        const froms = async (from: number, to: number) => {
          const found = await record.spans('shop', { from: t0 + from, to: t0 + to });
          return found.map((span) => span.from - t0);
        };
        expect(await froms(-10, 0)).toEqual([]);
        expect(await froms(-10, 1)).toEqual([0]);
        expect(await froms(5, 6)).toEqual([0]);
        expect(await froms(9, 11)).toEqual([0, 10]);
        expect(await froms(10, 20)).toEqual([10]);
        expect(await froms(10, 21)).toEqual([10, 20]);
        expect(await froms(500, 600)).toEqual([20]);
      });

      test('that an edit reaches behind are dropped', async () => {
        await record.commit(
          spansOf('shop', [edit('up', t0), edit('down', t0 + 10), edit('up', t0 + 20)]),
        );
        await record.commit(spansOf('shop', [edit('unobserved', t0 + 5, 0)]));
        expect(await record.spans('shop', always)).toEqual([
          { ...edit('up', t0), to: t0 + 5 },
          { ...edit('unobserved', t0 + 5, 0), to: null },
        ]);
      });

      test('that begin where another had begun take its place, and its uncertainty', async () => {
        await record.commit(spansOf('shop', [edit('down', t0), edit('degraded', t0 + 10, 5)]));
        await record.commit(spansOf('shop', [edit('up', t0 + 10, 0)]));
        expect(await record.spans('shop', always)).toEqual([
          { ...edit('down', t0), to: t0 + 10 },
          { ...edit('up', t0 + 10, 5), to: null },
        ]);
      });

      test('of one state that meet are one', async () => {
        await record.commit(
          spansOf('shop', [edit('up', t0), edit('up', t0 + 5), edit('down', t0 + 10)]),
        );
        await record.commit(spansOf('shop', [edit('up', t0 + 10)]));
        expect(await record.spans('shop', always)).toEqual([{ ...edit('up', t0), to: null }]);
      });

      test('that begin before the first replace it', async () => {
        await record.commit(spansOf('shop', [edit('up', t0)]));
        await record.commit(spansOf('shop', [edit('down', t0 - hour)]));
        expect(await record.spans('shop', always)).toEqual([
          { ...edit('down', t0 - hour), to: null },
        ]);
      });
    });

    describe('outages', () => {
      test('are replaced by id and come newest first', async () => {
        const first = outage('shop', t0);
        const other = outage('nas', t0 + minute, { lastGoodAt: null });
        const behind = outage('shop', t0 + hour, { causeId: 'nas' });
        const restored = { ...first, restoredAt: t0 + 2 * minute, lastFailedAt: t0 + minute };
        await record.commit(changes({ outages: [first, other] }));
        await record.commit(changes({ outages: [restored, behind] }));
        expect(await record.outages(null, always)).toEqual([behind, other, restored]);
        expect(await record.outages(null, always, 2)).toEqual([behind, other]);
        expect(await record.outages('shop', always)).toEqual([behind, restored]);
        expect(await record.outages('shop', always, 1)).toEqual([behind]);
        expect(await record.outages('unheard-of', always)).toEqual([]);
        expect(await record.outage(first.id)).toEqual(restored);
        expect(await record.outage('none')).toBeNull();
        const again = await opened.reopen();
        expect(await again.outages(null, always)).toEqual([behind, other, restored]);
      });

      test('touch a range from the first failure to the restoration', async () => {
        const past = outage('shop', t0, { restoredAt: t0 + minute });
        const lasting = outage('shop', t0 + hour);
        await record.commit(changes({ outages: [past, lasting] }));
        const count = async (from: number, to: number) =>
          (await record.outages('shop', { from: t0 + from, to: t0 + to })).length;
        expect(await count(-5, 0)).toBe(0);
        expect(await count(-5, 1)).toBe(1);
        expect(await count(minute - 1, minute)).toBe(1);
        expect(await count(minute, hour)).toBe(0);
        expect(await count(5 * hour, 6 * hour)).toBe(1);
      });
    });

    test('unconfirmed failures are kept by service, once each', async () => {
      const [one, two] = [unconfirmedFailure('shop', t0), unconfirmedFailure('shop', t0 + hour)];
      const never = { ...unconfirmedFailure('nas', t0), lastGoodAt: null };
      await record.commit(changes({ unconfirmed: [two, one, never] }));
      await record.commit(changes({ unconfirmed: [one] }));
      expect(await record.unconfirmed('shop', always)).toEqual([one, two]);
      expect(await record.unconfirmed('nas', always)).toEqual([never]);
      expect(await record.unconfirmed('shop', { from: t0 + 5 * second, to: t0 + hour })).toEqual(
        [],
      );
      expect(await record.unconfirmed('shop', { from: t0 + 4_999, to: t0 + hour })).toEqual([one]);
    });

    test('notes of an outage come as they were written, also those that wait to be written', async () => {
      const [first, second] = [
        { at: t0 + 2, text: 'The plug was out.\n<b>Taped</b> it.' },
        { at: t0 + 1, text: 'Written by a clock that was set back.' },
      ];
      expect(await record.notes('shop.a')).toEqual([]);
      await record.note('shop.a', first);
      await record.note('shop.b', second);
      await record.note('shop.a', second);
      expect(await record.notes('shop.a')).toEqual([first, second]);
      expect(await record.notes('shop.b')).toEqual([second]);
      const again = await opened.reopen();
      expect(await again.notes('shop.a')).toEqual([first, second]);
    });

    test('disturbances come in order of time', async () => {
      const started = { at: t0 + 2, kind: 'started', byMs: 0 } as const;
      const stepped = { at: t0 + 1, kind: 'clock-stepped', byMs: -3_600_000.5 } as const;
      await record.disturbed(started);
      await record.disturbed(stepped);
      expect(await record.disturbances(always)).toEqual([stepped, started]);
      expect(await record.disturbances({ from: t0 + 2, to: t0 + 3 })).toEqual([started]);
      const again = await opened.reopen();
      expect(await again.disturbances({ from: t0, to: t0 + 2 })).toEqual([stepped]);
    });

    test('the pulse of the last flush is what a restart finds', async () => {
      expect(await record.lastPulse()).toBeNull();
      await record.flush(pulse(t0));
      await record.flush(pulse(t0 + minute));
      expect(await record.lastPulse()).toEqual(pulse(t0 + minute));
    });

    test('a few words are kept under a name, seen at once and after a restart', async () => {
      expect(await record.kept('stamp')).toBeNull();
      await record.keep('stamp', '1');
      await record.keep('other', 'words of “Fernhill”');
      await record.keep('stamp', '2');
      expect(await record.kept('stamp')).toBe('2');
      const again = await opened.reopen();
      expect(await again.kept('stamp')).toBe('2');
      expect(await again.kept('other')).toBe('words of “Fernhill”');
      await again.keep('stamp', '3');
      expect(await again.kept('stamp')).toBe('3');
    });

    test('a change set with a value that is not whole is refused, and leaves nothing', async () => {
      const unfit = changes({
        outages: [outage('shop', t0)],
        memories: [{ serviceId: 'shop', memory: memory() }],
        spans: [{ serviceId: 'shop', edits: [edit('down', t0), edit('up', t0 + 0.5)] }],
      });
      await expect(record.commit(unfit)).rejects.toThrow();
      expect(await record.spans('shop', always)).toEqual([]);
      expect(await record.outages(null, always)).toEqual([]);
      expect(await record.remembered('shop')).toEqual({ memory: null, last: null });
      await record.commit(spansOf('shop', [edit('up', t0)]));
      expect(await record.spans('shop', always)).toHaveLength(1);
    });

    test('says that it is well, and how much waits', async () => {
      expect(record.health()).toMatchObject({ writable: true, trouble: null, droppedCount: 0 });
      await record.flush(pulse(t0));
      expect(record.health()).toMatchObject({ queuedCount: 0, lastCommitAt: expect.any(Number) });
      await record.observe({ serviceId: 'shop', observation: answered(t0) });
      expect(record.health().queuedCount).toBe(1);
      await record.commit(changes({}));
      expect(record.health().queuedCount).toBe(0);
    });
  });
}
