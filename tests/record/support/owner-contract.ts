/** What every engine must keep of what its owner said: planned windows, and "I know". */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { PlannedWindow } from '../../../src/base/values.ts';
import type { Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { always, changes, hour, minute, t0 } from './values.ts';

export function ownerContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`what the owner said (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const updates: PlannedWindow = {
      id: 'sunday-updates@1',
      name: 'Sunday updates',
      why: null,
      from: t0 + hour,
      to: t0 + 2 * hour,
      serviceIds: ['order-book', 'nas'],
      origin: 'schedule',
    };
    const router: PlannedWindow = {
      id: '0a',
      name: 'Planned',
      why: 'New router: “quick”',
      from: t0,
      to: t0 + 30 * minute,
      serviceIds: null,
      origin: 'declared',
    };

    test('planned windows come in order of time, also after a restart', async () => {
      await record.commit(changes({ planned: [updates, router] }));
      expect(await record.planned(always)).toEqual([router, updates]);
      const again = await opened.reopen();
      expect(await again.planned(always)).toEqual([router, updates]);
    });

    test('planned windows touch a range from their beginning to before their end', async () => {
      await record.commit(changes({ planned: [updates] }));
      const found = async (from: number, to: number) => (await record.planned({ from, to })).length;
      expect(await found(t0, updates.from)).toBe(0);
      expect(await found(t0, updates.from + 1)).toBe(1);
      expect(await found(updates.to - 1, updates.to)).toBe(1);
      expect(await found(updates.to, t0 + 9 * hour)).toBe(0);
    });

    test('a planned window is replaced by its id, and one of no length goes', async () => {
      await record.commit(changes({ planned: [updates, router] }));
      const ended = { ...router, to: t0 + minute };
      await record.commit(changes({ planned: [ended, { ...updates, to: updates.from }] }));
      expect(await record.planned(always)).toEqual([ended]);
    });

    test('of "I know" the first time counts', async () => {
      expect(await record.knownAt('shop.a')).toBeNull();
      await record.commit(changes({ known: [{ outageId: 'shop.a', at: t0 }] }));
      await record.commit(changes({ known: [{ outageId: 'shop.a', at: t0 + hour }] }));
      expect(await record.knownAt('shop.a')).toBe(t0);
      const again = await opened.reopen();
      expect(await again.knownAt('shop.a')).toBe(t0);
      expect(await again.knownAt('shop.b')).toBeNull();
    });

    test('words that came with a change set are those that are kept', async () => {
      await record.keep('told', '1');
      await record.commit(changes({ keeps: [{ name: 'told', words: '2' }] }));
      expect(await record.kept('told')).toBe('2');
      await record.keep('told', '3');
      expect(await record.kept('told')).toBe('3');
      const again = await opened.reopen();
      expect(await again.kept('told')).toBe('3');
    });
  });
}
