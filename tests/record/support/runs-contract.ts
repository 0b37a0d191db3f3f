/** What every engine must keep of the runs of jobs. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { JobRun } from '../../../src/base/jobs.ts';
import { tailsKeptCountMax } from '../../../src/base/limits.ts';
import type { Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { always, changes, hour, minute, t0 } from './values.ts';

export function runsContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`runs of jobs (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const begun: JobRun = {
      id: 'a',
      jobId: 'nightly-backup',
      beganAt: t0,
      endedAt: null,
      exit: null,
      sizeBytes: null,
      value: null,
      unit: null,
      tail: null,
    };
    const ended: JobRun = {
      ...begun,
      endedAt: t0 + minute,
      exit: 3,
      sizeBytes: 1_048_577,
      value: 0.1,
      unit: 'GB',
      tail: 'first\n\tlast “line” 🏺',
    };
    const whole: JobRun = {
      ...ended,
      id: 'b',
      beganAt: null,
      endedAt: t0 + hour,
      exit: -1,
      value: 7,
    };
    const keep = (...runs: readonly JobRun[]) => record.commit(changes({ runs }));
    const runs = (countMax = 10, range = always) => record.runs('nightly-backup', range, countMax);

    test('a run is there as it was told, also after a restart', async () => {
      await keep(begun);
      expect(await runs()).toEqual([begun]);
      await keep(ended, whole);
      expect(await runs()).toEqual([whole, ended]);
      const again = await opened.reopen();
      expect(await again.runs('nightly-backup', always, 10)).toEqual([whole, ended]);
      expect(await again.run('nightly-backup', 'a')).toEqual(ended);
    });

    test('runs of one id are those of their own jobs', async () => {
      await keep(begun, { ...ended, jobId: 'stock-import' });
      expect(await runs()).toEqual([begun]);
      expect(await record.run('stock-import', 'a')).toMatchObject({ exit: 3 });
      expect(await record.run('stock-import', 'b')).toBeNull();
      expect(await record.runs('nobody', always, 10)).toEqual([]);
    });

    test('the newest, and those in a range by when they began', async () => {
      const many = Array.from({ length: 5 }, (_, index): JobRun => {
        return { ...begun, id: `${index}`, beganAt: t0 + index * minute };
      });
      await keep(...many);
      expect((await runs(2)).map(({ id }) => id)).toEqual(['4', '3']);
      const range = { from: t0 + minute, to: t0 + 3 * minute };
      expect((await runs(10, range)).map(({ id }) => id)).toEqual(['2', '1']);
    });

    test('of one instant, the one that was heard of last comes first', async () => {
      await keep(begun, { ...begun, id: 'c' });
      await keep(ended);
      expect((await runs()).map(({ id }) => id)).toEqual(['c', 'a']);
    });

    test('only the newest still have their output', async () => {
      const count = tailsKeptCountMax + 3;
      for (let index = 0; index < count; index++) {
        const beganAt = t0 + index * minute;
        await keep({
          ...ended,
          id: `${index}`,
          beganAt,
          endedAt: beganAt + 1,
          tail: `run ${index}`,
        });
      }
      const found = await runs(count);
      expect(found.map(({ tail }) => tail).filter((tail) => tail !== null)).toEqual(
        Array.from({ length: tailsKeptCountMax }, (_, index) => `run ${count - 1 - index}`),
      );
      expect(await record.run('nightly-backup', '0')).toMatchObject({ exit: 3, tail: null });
    });
  });
}
