/** What every engine must say of itself to who keeps what he has read: whether it may have become another. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { ChangeSet, Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { answered, changes, hour, outage, t0, unconfirmedFailure } from './values.ts';

export function revisionContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`the revision (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const begins = { state: 'up' as const, from: t0, earliestFrom: t0 };
    const sets: readonly [string, Partial<ChangeSet>][] = [
      ['a span', { spans: [{ serviceId: 'a', edits: [begins] }] }],
      ['an outage', { outages: [outage('a', t0)] }],
      ['an unconfirmed failure', { unconfirmed: [unconfirmedFailure('a', t0)] }],
      [
        'a planned window',
        {
          planned: [
            {
              id: 'updates@1',
              name: 'Updates',
              why: null,
              from: t0,
              to: t0 + hour,
              serviceIds: null,
              origin: 'schedule',
            },
          ],
        },
      ],
    ];

    test.each(sets)('is another after %s', async (_what, set) => {
      const before = record.revision();
      await record.commit(changes(set));
      expect(record.revision()).not.toBe(before);
    });

    test('is the same over answers alone', async () => {
      const before = record.revision();
      await record.observe({ serviceId: 'a', observation: answered(t0) });
      await record.spans('a', { from: 0, to: t0 });
      expect(record.revision()).toBe(before);
    });
  });
}
