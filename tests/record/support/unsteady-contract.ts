/** The part of the Record port's contract that is about services that change too often: who knows of it, and what follows. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Notice, NoticeEdit, Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { attempt, changes, hour, minute, notice, outage, second, t0 } from './values.ts';

export function unsteadyContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`what channels know of unsteadiness (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const put = (...notices: readonly NoticeEdit[]) => record.commit(changes({ notices }));
    const both = ['phone', 'chat'];
    const told = (id: string, word: string, more: Partial<Notice> = {}) =>
      notice(id, { type: `rollcall.service.${word}`, channels: both, ...more });
    const unsteady = (id: string, more: Partial<Notice> = {}): NoticeEdit => ({
      kind: 'add',
      notice: told(id, 'unsteady', more),
      unsteadyKnown: false,
    });
    const steady = (id: string, more: Partial<Notice> = {}): NoticeEdit => ({
      kind: 'add',
      notice: told(id, 'steady', { outageId: null, ...more }),
      unsteadyKnown: true,
    });
    const up = (id: string, at: number, more: Partial<Notice> = {}): NoticeEdit => ({
      kind: 'restore',
      outageId: 'order-book.1',
      notice: told(id, 'up', { at, notBefore: at, ...more }),
    });
    const ifNotKnown = (edit: NoticeEdit): NoticeEdit =>
      edit.kind === 'add' || edit.kind === 'restore' ? { ...edit, unsteadyKnown: false } : edit;
    /** All that is told from now on, in the order in which it goes out; it is delivered by that. */
    const heard = async (channel = 'phone') => {
      const ids: string[] = [];
      for (;;) {
        const all = await record.dueDeliveries(t0 + 30 * 24 * hour, 100);
        const next = all.find((one) => one.channel === channel);
        if (!next) return ids;
        await record.attempted(attempt(next.notice.id, { channel }));
        ids.push(next.notice.id);
      }
    };

    test('who was told is not told again, before it was told that it is steady', async () => {
      await put(unsteady('n1', { channels: ['phone'] }));
      await put(unsteady('n2'), unsteady('n3'));
      expect(await heard()).toEqual(['n1']);
      expect(await heard('chat')).toEqual(['n2']);
      await put(steady('n4'), unsteady('n5'));
      expect(await heard()).toEqual(['n4', 'n5']);
    });

    test('that it is steady is told to whoever heard that it was not, and once', async () => {
      await put(steady('n0'));
      await put(unsteady('n1', { channels: ['phone'] }), steady('n2'), steady('n3'));
      expect(await heard()).toEqual(['n1', 'n2']);
      expect(await heard('chat')).toEqual([]);
    });

    test('of another service nothing is known by that', async () => {
      await put(unsteady('n1'), steady('n2', { serviceId: 'nas' }));
      await put(unsteady('n3', { serviceId: 'nas', outageId: 'nas.1' }));
      expect(await heard()).toEqual(['n1', 'n3']);
    });

    test('what could not be delivered was told as far as anybody knows', async () => {
      await put(unsteady('n1'));
      await record.attempted(attempt('n1', { next: { state: 'dead' } }));
      await put(unsteady('n2', { channels: ['phone'] }), steady('n3', { channels: ['phone'] }));
      expect(await heard()).toEqual(['n3']);
    });

    test('is known after a restart', async () => {
      await put(unsteady('n1'));
      record = await opened.reopen();
      await put(unsteady('n2'), steady('n3'));
      expect(await heard()).toEqual(['n1', 'n3']);
    });

    test('single changes are held back where it is known, and told elsewhere', async () => {
      await put(unsteady('n1', { channels: ['phone'] }));
      await put(ifNotKnown({ kind: 'add', notice: told('n2', 'degraded', { outageId: null }) }));
      expect(await heard()).toEqual(['n1']);
      expect(await heard('chat')).toEqual(['n2']);
    });

    describe('the end of an outage', () => {
      test('is held back where it is known that the service is unsteady', async () => {
        await put(unsteady('n1'), ifNotKnown(up('n2', t0 + minute)));
        expect(await heard()).toEqual(['n1']);
      });

      test('is told where it was not known, and the outage was', async () => {
        await put({ kind: 'add', notice: told('n1', 'down', { channels: ['chat'] }) });
        await put(unsteady('n2', { channels: ['phone'], outageId: 'order-book.0' }));
        await put(ifNotKnown(up('n3', t0 + minute)));
        expect(await heard()).toEqual(['n2']);
        expect(await heard('chat')).toEqual(['n1', 'n3']);
      });

      test('is told to whoever heard by this of the outage, where it is steady by then', async () => {
        await put(unsteady('n1', { channels: ['phone'] }));
        await put(steady('n2', { outageId: 'order-book.1' }), up('n3', t0 + hour));
        expect(await heard()).toEqual(['n1', 'n2', 'n3']);
        expect(await heard('chat')).toEqual([]);
      });

      test('is told to whoever heard of it only with that the service is steady', async () => {
        await put(unsteady('n1', { outageId: 'order-book.0' }));
        await put(steady('n2', { outageId: 'order-book.1' }), up('n3', t0 + hour));
        expect(await heard()).toEqual(['n1', 'n2', 'n3']);
      });

      test('takes back that it is unsteady while that is held, which nobody knows then', async () => {
        await put(unsteady('n1', { notBefore: t0 + minute }));
        await put(ifNotKnown(up('n2', t0 + second)), steady('n3'));
        expect(await heard()).toEqual([]);
        await put(unsteady('n4'));
        expect(await heard()).toEqual(['n4']);
      });

      test('does not take back that it is steady', async () => {
        await put(unsteady('n1', { outageId: 'order-book.0' }));
        await put(steady('n2', { outageId: 'order-book.1', notBefore: t0 + hour }));
        await put(up('n3', t0 + second));
        expect(await heard()).toEqual(['n1', 'n2', 'n3']);
      });
    });

    describe('order', () => {
      const later = { state: 'waiting', nextAttemptAt: t0 + 20 * minute } as const;
      const next = async (now: number) =>
        (await record.dueDeliveries(now, 10)).map((one) => one.notice.id);

      test('that it is steady does not overtake that it was not, whatever outages they belong to', async () => {
        await put(unsteady('n1', { channels: ['phone'] }));
        await record.attempted(attempt('n1', { next: later, status: 503 }));
        await put(steady('n2', { outageId: 'order-book.7' }));
        expect(await next(t0 + minute)).toEqual([]);
        expect(await heard()).toEqual(['n1', 'n2']);
      });

      test('nor does the end of an outage overtake what told of it', async () => {
        await put(unsteady('n1', { channels: ['phone'], outageId: 'order-book.0' }));
        await record.attempted(attempt('n1'));
        await put(steady('n2', { outageId: 'order-book.1' }));
        await record.attempted(attempt('n2', { next: later, status: 503 }));
        await put(up('n3', t0 + minute));
        expect(await next(t0 + minute)).toEqual([]);
        expect(await heard()).toEqual(['n2', 'n3']);
      });
    });

    describe('folding', () => {
      const shop = { serviceId: 'shop', outageId: 'shop.1', notBefore: t0 + minute };
      const states = async (outageId: string) =>
        (await record.deliveriesOf(outageId)).map(
          ({ notice: { id }, channel, state, foldedInto }) =>
            `${id}>${channel} ${state}${foldedInto === null ? '' : ` into ${foldedInto}`}`,
        );

      test('that a service is unsteady is folded into its cause like a down, and is not known by that', async () => {
        const cause = notice('nas-down', { serviceId: 'nas', outageId: 'nas.1' });
        await put(unsteady('n1', shop), { kind: 'add', notice: cause });
        await put({ kind: 'fold', serviceIds: ['shop'], into: 'nas-down' });
        expect(await states('shop.1')).toEqual([
          'n1>phone folded into nas-down',
          'n1>chat waiting',
        ]);
        await put(unsteady('n2', { ...shop, outageId: 'shop.2' }), steady('n3', shop));
        expect(await states('shop.2')).toEqual(['n2>phone waiting']);
        expect(await states('shop.1')).toContain('n3>chat waiting');
      });

      test('into what is unsteady: on each channel that knows, into the message by which it does', async () => {
        const nas = { serviceId: 'nas', outageId: 'nas.0' };
        await put(unsteady('n1', { ...nas, channels: ['phone'] }));
        await record.attempted(attempt('n1'));
        const ended = outage('nas', t0 - hour, { id: 'nas.0', restoredAt: t0 - minute });
        await record.commit(changes({ outages: [ended] }));
        await put({
          kind: 'add',
          notice: told('shop-down', 'down', { ...shop, channels: ['phone', 'chat', 'mail'] }),
        });
        await put(unsteady('n2', { ...nas, outageId: 'nas.1' }), {
          kind: 'fold',
          serviceIds: ['shop'],
          into: { unsteady: 'nas' },
        });
        expect(await states('shop.1')).toEqual([
          'shop-down>phone folded into n1',
          'shop-down>chat folded into n2',
          'shop-down>mail waiting',
        ]);
      });

      test('and where it is steady by now there is nothing to fold into', async () => {
        await put(unsteady('n1', { serviceId: 'nas', outageId: null }));
        await put(steady('n2', { serviceId: 'nas' }));
        await put({ kind: 'add', notice: told('shop-down', 'down', shop) });
        await put({ kind: 'fold', serviceIds: ['shop'], into: { unsteady: 'nas' } });
        expect(await states('shop.1')).toEqual([
          'shop-down>phone waiting',
          'shop-down>chat waiting',
        ]);
      });
    });

    test('an outage told only where it is unheard of: not where it waits, was told or is in a sum, but where it is not any more', async () => {
      const channels = ['waits', 'told', 'summed', 'folded', 'withdrawn', 'never', 'other'];
      const only = (id: string, channel: string, more: Partial<Notice> = {}): NoticeEdit => {
        return { kind: 'add', notice: told(id, 'down', { channels: [channel], ...more }) };
      };
      await put(
        ...['waits', 'told', 'summed', 'folded'].map((name) => only(`n-${name}`, name)),
        only('n-withdrawn', 'withdrawn', { notBefore: t0 + hour }),
        only('n-other', 'other', { outageId: 'order-book.0' }),
        only('cause', 'folded', { serviceId: 'nas', outageId: 'nas.1' }),
      );
      await record.attempted(attempt('n-told', { channel: 'told' }));
      const sum = notice('sum', { type: 'rollcall.digest', serviceId: null, outageId: null });
      await put(
        { kind: 'sum', channel: 'summed', noticeIds: ['n-summed'], notice: sum },
        { kind: 'fold', serviceIds: ['order-book'], into: 'cause' },
        up('over', t0, { channels: ['withdrawn'] }),
      );
      await put({ kind: 'add', notice: told('n1', 'down', { channels }), ifUnheard: true });
      const all = await record.deliveriesOf('order-book.1');
      const isIn = all.filter(({ notice: { id } }) => id === 'n1').map(({ channel }) => channel);
      expect(isIn).toEqual(['folded', 'withdrawn', 'never', 'other']);
      await put({ kind: 'add', notice: told('n2', 'down', { channels }), ifUnheard: true });
      expect(await record.delivery('n2', 'never')).toBeNull();
    });

    test('who stood in for a channel hears what that channel would', async () => {
      await put(unsteady('n1', { channels: ['phone'] }));
      const divert = { kind: 'divert', noticeId: 'n1', from: 'phone', to: 'mail', at: t0 } as const;
      await put(divert);
      await record.attempted(attempt('n1', { next: { state: 'dead' } }));
      await put(steady('n2', { channels: ['phone'] }));
      expect(await heard('mail')).toEqual(['n1', 'n2']);
      expect(await heard()).toEqual(['n2']);
    });

    test('who was told in a sum knows', async () => {
      await put(unsteady('n1', { channels: ['phone'] }));
      const sum = notice('sum', { type: 'rollcall.digest', serviceId: null, outageId: null });
      await put({ kind: 'sum', channel: 'phone', noticeIds: ['n1'], notice: sum });
      await put(unsteady('n2', { channels: ['phone'] }), steady('n3', { channels: ['phone'] }));
      expect(await heard()).toEqual(['sum', 'n3']);
    });
  });
}
