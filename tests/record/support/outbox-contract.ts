/** The part of the Record port's contract that is about the outbox. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { NoticeEdit, Record } from '../../../src/record/record.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { attempt, changes, hour, minute, notice, outage, second, t0 } from './values.ts';

export function outboxContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`the outbox (${engine})`, () => {
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

    test('gives a notice whole to each of its channels, not before its time', async () => {
      const one = notice('n1', { channels: ['phone', 'chat'], notBefore: t0 + minute });
      await put(add(one));
      expect(await record.dueDeliveries(t0 + minute - 1, 10)).toEqual([]);
      expect(await record.nextDeliveryAt()).toBe(t0 + minute);
      const waiting = {
        notice: one,
        attempts: 0,
        firstAttemptAt: null,
        nextAttemptAt: t0 + minute,
        fallbackFor: null,
      };
      const expected = [
        { ...waiting, channel: 'phone' },
        { ...waiting, channel: 'chat' },
      ];
      expect(await record.dueDeliveries(t0 + minute, 10)).toEqual(expected);
      const again = await opened.reopen();
      expect(await again.dueDeliveries(t0 + minute, 10)).toEqual(expected);
      expect(await again.dueDeliveries(t0 + minute, 1)).toHaveLength(1);
    });

    test('does not let a clock that was set back put a message off', async () => {
      await put(add(notice('n1', { notBefore: t0 })));
      // Three hours later by that clock, which is then set right.
      const later = t0 + 3 * hour;
      const next = { state: 'waiting', nextAttemptAt: later + minute } as const;
      await record.attempted({ ...attempt('n1'), at: later, next });
      expect(await due(later)).toEqual([]);
      expect(await due(t0 + minute)).toEqual(['n1>phone']);
    });

    test('holds what waits for its own time, however far, unless the clock was set back', async () => {
      await put(add(notice('n1', { notBefore: t0 + 72 * hour })));
      expect(await due(t0 + minute)).toEqual([]);
      expect(await due(t0 + 72 * hour - 1)).toEqual([]);
      expect(await due(t0 + 72 * hour)).toEqual(['n1>phone']);
      // By that clock it is a message of tomorrow.
      expect(await due(t0 - 24 * hour)).toEqual(['n1>phone']);
    });

    test('moves what is held to another end of planned time, and nothing else', async () => {
      const until = t0 + hour;
      const held = { notBefore: until, channels: ['phone', 'chat'] };
      await put(
        add(notice('held', held)),
        add(notice('claimed', { ...held, outageId: 'order-book.2' })),
        add(notice('other', { ...held, serviceId: 'nas', outageId: 'nas.1' })),
        add(notice('sooner', { notBefore: until - 1, outageId: 'order-book.3' })),
        add(up('up', until, { outageId: 'order-book.4' })),
      );
      await record.claim('claimed', 'phone', t0);
      const serviceIds = ['order-book', 'shop'];
      await put({ kind: 'hold', serviceIds, from: until, to: until + hour });
      expect(new Set(await due(until))).toEqual(
        new Set(['claimed>phone', 'other>phone', 'other>chat', 'sooner>phone', 'up>phone']),
      );
      const rest = ['held>phone', 'held>chat', 'claimed>chat'];
      expect(await due(until + hour)).toEqual(expect.arrayContaining(rest));
      await put({ kind: 'hold', serviceIds, from: until + hour, to: t0 + minute });
      const again = await opened.reopen();
      const now = (await again.dueDeliveries(t0 + minute, 100)).map(
        (one) => `${one.notice.id}>${one.channel} ${one.notice.notBefore}`,
      );
      expect(now).toEqual(
        ['held>phone', 'held>chat', 'claimed>chat'].map((one) => `${one} ${t0 + minute}`),
      );
    });

    test('withdraws what was moved, where the outage ends before', async () => {
      await put(add(notice('down', { notBefore: t0 + hour })));
      await put({ kind: 'hold', serviceIds: ['order-book'], from: t0 + hour, to: t0 + 2 * hour });
      const at = t0 + hour + minute;
      await put({ kind: 'restore', outageId: 'order-book.1', notice: up('up', at) });
      expect(await statesOf('order-book.1')).toEqual(['down>phone withdrawn']);
    });

    test('has nothing to wait for when nothing waits', async () => {
      expect(await record.nextDeliveryAt()).toBeNull();
      expect(await record.dueDeliveries(t0, 10)).toEqual([]);
      await put(add(notice('n1')));
      await record.attempted(attempt('n1'));
      expect(await record.nextDeliveryAt()).toBeNull();
      expect(await due(t0 + hour)).toEqual([]);
    });

    test('keeps each lane in the order of creation, even where a later one is due earlier', async () => {
      await put(add(notice('down', { notBefore: t0 + minute })), add(up('up', t0 + second)));
      await put(add(notice('other', { outageId: 'nas.1', serviceId: 'nas' })));
      expect(await due(t0 + 2 * second)).toEqual(['other>phone']);
      expect(await record.nextDeliveryAt()).toBe(t0);
      expect(await due(t0 + hour)).toEqual(['other>phone', 'down>phone']);
      await record.attempted(attempt('down'));
      expect(await due(t0 + hour)).toEqual(['other>phone', 'up>phone']);
    });

    test('keeps notices without an outage in a lane of their service, and others alone', async () => {
      const bare = { outageId: null, type: 'rollcall.service.degraded' };
      await put(
        add(notice('d1', bare)),
        add(notice('d2', bare)),
        add(notice('d3', { ...bare, serviceId: 'nas' })),
        add(notice('s1', { outageId: null, serviceId: null, type: 'rollcall.self.trouble' })),
        add(notice('s2', { outageId: null, serviceId: null, type: 'rollcall.self.trouble' })),
      );
      expect(await due(t0)).toEqual(['d1>phone', 'd3>phone', 's1>phone', 's2>phone']);
    });

    test('lets the lanes of another channel go on', async () => {
      await put(add(notice('down', { channels: ['phone', 'chat'] })));
      await put(add(up('up', t0, { channels: ['phone', 'chat'] })));
      const next = { state: 'waiting', nextAttemptAt: t0 + hour } as const;
      await record.attempted(attempt('down', { channel: 'chat', next, status: null }));
      await record.attempted(attempt('down', { channel: 'phone' }));
      expect(await due(t0 + minute)).toEqual(['up>phone']);
    });

    test('counts attempts and keeps each of them', async () => {
      await put(add(notice('n1')));
      const first = attempt('n1', {
        at: t0 + 5,
        status: 503,
        tookMs: 12.5,
        detail: 'try later',
        next: { state: 'waiting', nextAttemptAt: t0 + minute },
      });
      await record.attempted(first);
      expect(await due(t0 + minute - 1)).toEqual([]);
      expect(await record.dueDeliveries(t0 + minute, 10)).toMatchObject([
        { attempts: 1, firstAttemptAt: t0 + 5, nextAttemptAt: t0 + minute },
      ]);
      const second = attempt('n1', { at: t0 + minute, status: null, detail: 'refused' });
      await record.attempted({ ...second, next: { state: 'waiting', nextAttemptAt: t0 + hour } });
      expect(await record.dueDeliveries(t0 + hour, 10)).toMatchObject([
        { attempts: 2, firstAttemptAt: t0 + 5, nextAttemptAt: t0 + hour },
      ]);
      await record.attempted({ ...second, at: t0 + hour, next: { state: 'dead' } });
      const again = await opened.reopen();
      expect(await again.deadLetters(10)).toEqual([
        {
          notice: notice('n1'),
          channel: 'phone',
          state: 'dead',
          attempts: [
            { at: t0 + 5, tookMs: 12.5, status: 503, detail: 'try later' },
            { at: t0 + minute, tookMs: 25, status: null, detail: 'refused' },
            { at: t0 + hour, tookMs: 25, status: null, detail: 'refused' },
          ],
          foldedInto: null,
          fallbackFor: null,
        },
      ]);
      expect(await again.deliveriesOf('order-book.1')).toEqual(await again.deadLetters(10));
    });

    test('lists dead letters newest first', async () => {
      for (const id of ['n1', 'n2', 'n3']) {
        await put(add(notice(id)));
        await record.attempted(attempt(id, { next: { state: 'dead' } }));
      }
      const ids = async (countMax: number) =>
        (await record.deadLetters(countMax)).map((one) => one.notice.id);
      expect(await ids(10)).toEqual(['n3', 'n2', 'n1']);
      expect(await ids(2)).toEqual(['n3', 'n2']);
    });

    test('does not bring back what is settled', async () => {
      await put(add(notice('n1')));
      await record.attempted(attempt('n1'));
      const next = { state: 'waiting', nextAttemptAt: t0 } as const;
      await record.attempted(attempt('n1', { next }));
      expect(await due(t0 + hour)).toEqual([]);
      await record.attempted(attempt('never-heard-of'));
    });

    test('lets claim only what waits', async () => {
      await put(add(notice('n1')));
      expect(await record.claim('n1', 'phone', t0)).toBe(true);
      // A second time after a crash between claim and attempt.
      expect(await record.claim('n1', 'phone', t0 + 1)).toBe(true);
      expect(await record.claim('n1', 'chat', t0)).toBe(false);
      expect(await record.claim('n2', 'phone', t0)).toBe(false);
      expect(await due(t0)).toEqual(['n1>phone']);
      await record.attempted(attempt('n1'));
      expect(await record.claim('n1', 'phone', t0)).toBe(false);
    });

    describe('folding', () => {
      const shop = { serviceId: 'shop', outageId: 'shop.1', notBefore: t0 + minute };
      const nas = notice('nas-down', { serviceId: 'nas', outageId: 'nas.1' });
      const fold: NoticeEdit = { kind: 'fold', serviceIds: ['shop', 'nas'], into: 'nas-down' };

      test('takes back what waits of the services that the cause explains', async () => {
        await put(
          add(notice('shop-down', shop)),
          add(notice('shop-poor', { ...shop, type: 'rollcall.service.degraded' })),
          add(notice('shop-up', { ...shop, type: 'rollcall.service.up' })),
          add(notice('wiki-down', { serviceId: 'wiki', outageId: 'wiki.1' })),
        );
        await put(add(nas), fold);
        expect(await statesOf('shop.1')).toEqual([
          'shop-down>phone folded',
          'shop-poor>phone folded',
          'shop-up>phone waiting',
        ]);
        expect(await statesOf('wiki.1')).toEqual(['wiki-down>phone waiting']);
        expect(await statesOf('nas.1')).toEqual(['nas-down>phone waiting']);
        expect((await record.deliveriesOf('shop.1'))[0]?.foldedInto).toBe('nas-down');
        expect(await record.claim('shop-down', 'phone', t0 + minute)).toBe(false);
      });

      test('leaves alone what was claimed or is settled', async () => {
        const both = { ...shop, channels: ['phone', 'chat'] };
        await put(add(notice('shop-down', both)));
        await record.attempted(attempt('shop-down', { channel: 'chat' }));
        await record.claim('shop-down', 'phone', t0);
        await put(add({ ...nas, channels: ['phone', 'chat'] }), fold);
        expect(await statesOf('shop.1')).toEqual([
          'shop-down>phone waiting',
          'shop-down>chat delivered',
        ]);
      });

      test('leaves alone what was said of an outage that is over, since its end is told as well', async () => {
        const over = outage('shop', t0 - hour, { restoredAt: t0 - minute });
        const earlier = { serviceId: 'shop', outageId: over.id };
        await record.commit(
          changes({
            outages: [over],
            notices: [add(notice('shop-down', earlier)), add(up('shop-up', t0, earlier))],
          }),
        );
        await put(add(notice('shop-down-again', shop)), add(nas), fold);
        expect(await statesOf(over.id)).toEqual([
          'shop-down>phone waiting',
          'shop-up>phone waiting',
        ]);
        expect(await statesOf('shop.1')).toEqual(['shop-down-again>phone folded']);
      });

      test('silences no channel that does not carry the cause', async () => {
        await put(add(notice('shop-down', { ...shop, channels: ['phone', 'chat'] })));
        await put(add(nas), fold);
        expect(await statesOf('shop.1')).toEqual([
          'shop-down>phone folded',
          'shop-down>chat waiting',
        ]);
        await put({
          kind: 'restore',
          outageId: 'shop.1',
          notice: up('shop-up', t0 + hour, { ...shop, channels: ['phone', 'chat'] }),
        });
        expect(await statesOf('shop.1')).toEqual([
          'shop-down>phone folded',
          'shop-down>chat waiting',
          'shop-up>chat waiting',
        ]);
      });
    });

    describe('a restoration', () => {
      const held = notice('down', { notBefore: t0 + minute });
      const restore = (at: number): NoticeEdit => ({
        kind: 'restore',
        outageId: 'order-book.1',
        notice: up('up', at),
      });

      test('is told where the outage was told', async () => {
        await put(add(notice('down')));
        await record.attempted(attempt('down'));
        await put(restore(t0 + hour));
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone delivered',
          'up>phone waiting',
        ]);
      });

      test('is told where the outage could not be delivered', async () => {
        await put(add(notice('down')));
        await record.attempted(attempt('down', { next: { state: 'dead' } }));
        await put(restore(t0 + hour));
        expect(await statesOf('order-book.1')).toEqual(['down>phone dead', 'up>phone waiting']);
      });

      test('withdraws the notice that is still held, and says nothing', async () => {
        await put(add(held), restore(t0 + minute - 1));
        expect(await statesOf('order-book.1')).toEqual(['down>phone withdrawn']);
        expect(await record.claim('down', 'phone', t0 + minute)).toBe(false);
      });

      test('does not withdraw what may be under way', async () => {
        await put(add(held));
        await record.claim('down', 'phone', t0);
        await put(restore(t0 + second));
        expect(await statesOf('order-book.1')).toEqual(['down>phone waiting', 'up>phone waiting']);
      });

      test('does not withdraw what was due already', async () => {
        await put(add(held), restore(t0 + minute));
        expect(await statesOf('order-book.1')).toEqual(['down>phone waiting', 'up>phone waiting']);
        expect(await due(t0 + hour)).toEqual(['down>phone']);
      });

      test('is not told where nobody was told of the outage', async () => {
        await put(restore(t0 + second));
        expect(await statesOf('order-book.1')).toEqual([]);
      });

      test('is not told where the outage was folded into its cause', async () => {
        const cause = notice('cause', { serviceId: 'nas', outageId: 'nas.1' });
        await put(add(held), add(cause), {
          kind: 'fold',
          serviceIds: ['order-book'],
          into: 'cause',
        });
        await put(restore(t0 + second));
        expect(await statesOf('order-book.1')).toEqual(['down>phone folded']);
      });

      test('is told where any notice of the outage was told', async () => {
        await put(add(notice('down')));
        await record.attempted(attempt('down'));
        await put(add(notice('down-again', { notBefore: t0 + hour })), restore(t0 + second));
        expect(await statesOf('order-book.1')).toEqual([
          'down>phone delivered',
          'down-again>phone withdrawn',
          'up>phone waiting',
        ]);
      });

      test('is not told on a channel that never carried the outage', async () => {
        await put(add(notice('down')), {
          kind: 'restore',
          outageId: 'order-book.1',
          notice: up('up', t0 + hour, { channels: ['phone', 'chat'] }),
        });
        expect(await statesOf('order-book.1')).toEqual(['down>phone waiting', 'up>phone waiting']);
      });
    });
  });
}
