/** What planned time holds back, lets through and leaves unsaid. */
import { describe, expect, test } from 'vitest';
import type { Notice, NoticeEdit } from '../../src/record/record.ts';
import { heldMoves, plannedHold } from '../../src/tell/planned-hold.ts';
import { fourOClock } from '../support/telling.ts';

const minuteMs = 60_000;
const end = fourOClock + 45 * minuteMs;
/** Order book is under planned work until a quarter to five; nothing else is. */
const until = (id: string, at: number) =>
  id === 'order-book' && at >= fourOClock && at < end ? end : null;

function notice(change: string, more: Partial<Notice> = {}): Notice {
  const at = more.at ?? fourOClock + minuteMs;
  return {
    id: 'n1',
    type: `rollcall.service.${change}`,
    at,
    serviceId: 'order-book',
    outageId: 'order-book.1',
    notBefore: at,
    data: { summary: 'Order book is down: refused.', service: { name: 'Order book' } },
    channels: ['phone'],
    ...more,
  };
}
const add = (one: Notice): NoticeEdit => ({ kind: 'add', notice: one });
const alone = { outageId: null, data: { summary: '', service: { name: 'Order book' } } };

test('down is held until the planned time is over, and says so then', () => {
  const [edit] = plannedHold(until)([add(notice('down'))]);
  expect(edit).toMatchObject({
    kind: 'add',
    notice: {
      notBefore: end,
      data: { summary: 'The planned time is over: Order book is still down: refused.' },
    },
  });
});

test('that it is unsteady, in place of down, is held as well; of another setback it is left for the next', () => {
  const known = { unsteadyKnown: false } as const;
  const unsteady = notice('unsteady');
  expect(plannedHold(until)([{ kind: 'add', notice: unsteady, ...known }])).toEqual([
    { kind: 'add', notice: expect.objectContaining({ notBefore: end }), ...known },
  ]);
  expect(plannedHold(until)([add({ ...unsteady, outageId: null })])).toEqual([]);
});

test('what is held longer for another reason stays so', () => {
  const later = end + minuteMs;
  const [edit] = plannedHold(until)([add(notice('down', { notBefore: later }))]);
  expect(edit).toMatchObject({ notice: { notBefore: later } });
});

test('out of planned time, and of other services, all is told as it is', () => {
  const edits = [add(notice('down', { at: end })), add(notice('down', { serviceId: 'shop' }))];
  expect(plannedHold(until)(edits)).toEqual(edits);
});

test('edits that fold, and the end of an outage, are left to the record', () => {
  const edits: NoticeEdit[] = [
    { kind: 'fold', serviceIds: ['shop'], into: 'n1' },
    { kind: 'restore', outageId: 'order-book.1', notice: notice('up') },
  ];
  expect(plannedHold(until)(edits)).toEqual(edits);
});

test('from down to degraded in planned time is an end: the record knows who heard of the outage', () => {
  const poor = notice('degraded');
  expect(plannedHold(until)([add(poor)])).toEqual([
    { kind: 'restore', outageId: 'order-book.1', notice: poor },
  ]);
});

describe('single changes', () => {
  test('are not told, nor that they are over', () => {
    const hold = plannedHold(until);
    expect(hold([add(notice('degraded', alone))])).toEqual([]);
    expect(hold([add(notice('up', alone))])).toEqual([]);
    expect(hold([add(notice('unobserved', alone))])).toEqual([]);
  });

  test('that were told before are told to be over, also in planned time', () => {
    const hold = plannedHold(until);
    const before = add(notice('degraded', { ...alone, at: fourOClock - minuteMs }));
    expect(hold([before])).toEqual([before]);
    const back = add(notice('up', alone));
    expect(hold([back])).toEqual([back]);
  });
});

test('what is about no service, or is no state, passes', () => {
  const edits = [
    add(notice('down', { serviceId: null })),
    add(notice('steady')),
    add(notice('down', { type: 'rollcall.self.trouble' })),
  ];
  expect(plannedHold(until)(edits)).toEqual(edits);
});

test('what is held moves along with the end, each service with its own', () => {
  const before = new Map<string, number | null>([
    ['a', 10],
    ['b', 10],
    ['c', 20],
    ['d', null],
    ['e', 30],
  ]);
  const after = new Map([
    ['a', 15],
    ['b', 15],
    ['c', 5],
    ['d', 15],
    ['e', 30],
  ]);
  const moves = heldMoves(
    [...before.keys()],
    (id) => before.get(id) ?? null,
    (id) => after.get(id) ?? 0,
  );
  expect(moves).toEqual([
    { kind: 'hold', from: 10, to: 15, serviceIds: ['a', 'b'] },
    { kind: 'hold', from: 20, to: 5, serviceIds: ['c'] },
  ]);
});
