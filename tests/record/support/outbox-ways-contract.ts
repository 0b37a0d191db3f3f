/** The part of the Record port's contract that is about quiet channels, sums and fallbacks. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { NoticeEdit, Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { attempt, changes, hour, minute, notice, second, t0 } from './values.ts';

export function outboxWaysContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`the ways of the outbox (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
    });
    afterEach(() => opened.end());

    const put = (...notices: readonly NoticeEdit[]) => record.commit(changes({ notices }));
    const add = (one: ReturnType<typeof notice>): NoticeEdit => ({ kind: 'add', notice: one });
    const due = async (now: number, countMax = 100) =>
      (await record.dueDeliveries(now, countMax)).map((one) => `${one.notice.id}>${one.channel}`);
    const statesOf = async (outageId: string) =>
      (await record.deliveriesOf(outageId)).map(
        ({ notice: { id }, channel, state }) => `${id}>${channel} ${state}`,
      );
    const up = (id: string, at: number, more = {}) =>
      notice(id, { type: 'rollcall.service.up', at, notBefore: at, ...more });

    describe('a sum', () => {
      const sum = notice('sum', {
        type: 'rollcall.digest',
        serviceId: null,
        outageId: null,
        at: t0 + hour,
        notBefore: t0 + hour,
        data: { summary: 'In the quiet hours …' },
      });
      const summing = (...noticeIds: readonly string[]): NoticeEdit => {
        return { kind: 'sum', channel: 'phone', noticeIds, notice: sum };
      };
      const both = { channels: ['phone', 'chat'] };

      test('takes the place of what waits on its channel, tried or not', async () => {
        await put(add(notice('down', both)), add(up('up', t0, both)));
        await put(add(notice('other', { outageId: 'nas.1', serviceId: 'nas' })));
        const next = { state: 'waiting', nextAttemptAt: t0 + minute } as const;
        await record.claim('down', 'phone', t0);
        await record.attempted(attempt('down', { next, status: null }));
        await put(summing('down', 'up', 'never-heard-of'));
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone folded',
          'down>chat waiting',
          'up>phone folded',
          'up>chat waiting',
        ]);
        expect((await record.deliveriesOf('order-book.1'))[0]?.foldedInto).toBe('sum');
        expect(await due(t0 + hour)).toEqual(['down>chat', 'other>phone', 'sum>phone']);
      });

      test('is not sent where nothing of it waits any more', async () => {
        await put(add(notice('down')));
        await record.attempted(attempt('down'));
        await put(summing('down'));
        expect(await record.nextDeliveryAt()).toBeNull();
        expect(await record.delivery('sum', 'phone')).toBeNull();
      });

      test('is not overtaken by what comes after it in the lanes that it sums up', async () => {
        await put(add(notice('down')), add(notice('more')), summing('down', 'more'));
        await put(add(up('up', t0 + hour)));
        await put(add(notice('other', { outageId: 'nas.1', serviceId: 'nas' })));
        expect(await due(t0 + hour)).toEqual(['other>phone', 'sum>phone']);
        await opened.reopen().then((again) => {
          record = again;
        });
        expect(await due(t0 + hour)).toEqual(['other>phone', 'sum>phone']);
        await record.attempted(attempt('sum', { at: t0 + hour }));
        expect(await due(t0 + hour)).toEqual(['other>phone', 'up>phone']);
        expect(await record.delivery('sum', 'phone')).toMatchObject({ state: 'delivered' });
      });

      test('is heard of: the end of an outage that it told of is told', async () => {
        await put(add(notice('down', both)), add(notice('more')), summing('down', 'more'));
        await put({
          kind: 'restore',
          outageId: 'order-book.1',
          notice: up('up', t0 + 2 * hour, both),
        });
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone folded',
          'down>chat waiting',
          'more>phone folded',
          'up>phone waiting',
          'up>chat waiting',
        ]);
      });
    });

    describe('quiet', () => {
      const quiet = [{ channel: 'phone', serviceIds: ['nas'], types: ['rollcall.test'] }];
      const dueIn = async (now: number) =>
        (await record.dueDeliveries(now, 100, quiet)).map(
          (one) => `${one.notice.id}>${one.channel}`,
        );

      test('keeps back all on its channel but what is urgent', async () => {
        await put(
          add(notice('down', { channels: ['phone', 'chat'] })),
          add(notice('nas-down', { outageId: 'nas.1', serviceId: 'nas', notBefore: t0 + second })),
          add(
            notice('trouble', { outageId: null, serviceId: null, type: 'rollcall.self.trouble' }),
          ),
          add(notice('test', { outageId: null, serviceId: null, type: 'rollcall.test' })),
        );
        expect(await dueIn(t0 + minute)).toEqual(['down>chat', 'test>phone', 'nas-down>phone']);
        expect(await due(t0 + minute)).toHaveLength(5);
      });

      test('leaves nothing to wait for where all is kept back', async () => {
        await put(add(notice('down')));
        expect(await record.nextDeliveryAt(quiet)).toBeNull();
        expect(await record.nextDeliveryAt()).toBe(t0);
        await put(add(notice('nas-down', { outageId: 'nas.1', serviceId: 'nas' })));
        expect(await record.nextDeliveryAt(quiet)).toBe(t0);
      });
    });

    describe('a fallback', () => {
      const divert = (noticeId: string, from = 'phone', to = 'mail'): NoticeEdit => {
        return { kind: 'divert', noticeId, from, to, at: t0 + hour };
      };
      const dead = { next: { state: 'dead' } } as const;

      test('gets what waits or is dead as well, once, and says for whom', async () => {
        await put(add(notice('down')), add(up('up', t0)));
        await record.attempted(attempt('down', dead));
        await put(divert('down'), divert('up'), divert('down'), divert('never-heard-of'));
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone dead',
          'up>phone waiting',
          'down>mail waiting',
          'up>mail waiting',
        ]);
        const [first] = (await record.dueDeliveries(t0 + hour, 10)).filter(
          ({ channel }) => channel === 'mail',
        );
        expect(first).toMatchObject({
          notice: { id: 'down', channels: ['phone', 'mail'] },
          fallbackFor: 'phone',
          attempts: 0,
          nextAttemptAt: t0 + hour,
        });
        expect(await due(t0 + hour)).toEqual(['up>phone', 'down>mail']);
        const again = await opened.reopen();
        expect(await again.delivery('down', 'mail')).toMatchObject({ fallbackFor: 'phone' });
        expect(await again.delivery('down', 'phone')).toMatchObject({ fallbackFor: null });
      });

      test('does not get what was delivered', async () => {
        await put(add(notice('down')));
        await record.attempted(attempt('down'));
        await put(divert('down'));
        expect(await record.delivery('down', 'mail')).toBeNull();
      });

      test('hears of the end of what a sum told it of', async () => {
        const sum = notice('sum', { type: 'rollcall.digest', serviceId: null, outageId: null });
        const summing = {
          kind: 'sum',
          channel: 'phone',
          noticeIds: ['down'],
          notice: sum,
        } as const;
        await put(add(notice('down')), summing, divert('sum'));
        await put({ kind: 'restore', outageId: 'order-book.1', notice: up('up', t0 + 2 * hour) });
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone folded',
          'up>phone waiting',
          'up>mail waiting',
        ]);
        // On neither channel before the sum.
        expect(await due(t0 + 2 * hour)).toEqual(['sum>phone', 'sum>mail']);
        await record.attempted(attempt('sum', { channel: 'mail' }));
        expect(await due(t0 + 2 * hour)).toEqual(['sum>phone', 'up>mail']);
      });

      test('hears of the end of what it heard of, over all steps', async () => {
        await put(add(notice('down')), divert('down'), divert('down', 'mail', 'pager'));
        await put({ kind: 'restore', outageId: 'order-book.1', notice: up('up', t0 + 2 * hour) });
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone waiting',
          'down>mail waiting',
          'down>pager waiting',
          'up>phone waiting',
          'up>mail waiting',
          'up>pager waiting',
        ]);
      });
    });

    test('lists what a channel has not delivered, in the order in which it was made', async () => {
      await put(
        add(notice('n1', { at: t0 })),
        add(notice('n2', { at: t0 + minute, outageId: 'a' })),
        add(notice('n3', { at: t0 + minute, outageId: 'b' })),
        add(notice('n4', { at: t0, channels: ['chat'] })),
        add(notice('n5', { at: t0, outageId: 'c' })),
      );
      await record.attempted(attempt('n1', { next: { state: 'dead' } }));
      await record.attempted(attempt('n2', { next: { state: 'dead' } }));
      await record.attempted(attempt('n3'));
      const ids = async (since: number) =>
        (await record.undelivered('phone', since)).map(
          ({ notice: { id }, state }) => `${id} ${state}`,
        );
      expect(await ids(t0 + 1)).toEqual(['n2 dead', 'n5 waiting']);
      expect(await ids(t0)).toEqual(['n1 dead', 'n2 dead', 'n5 waiting']);
    });
  });
}
