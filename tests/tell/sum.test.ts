/** What waited through the night, in one message: a table of what happened → what is said. */
import { expect, test } from 'vitest';
import { instantText } from '../../src/base/instants.ts';
import type { Notice } from '../../src/record/record.ts';
import { sumOf } from '../../src/tell/sum.ts';
import { notice } from '../support/telling.ts';

const midnight = Date.parse('2026-11-25T00:00:00Z');
const clock = (text: string) => {
  const [hour = '', minute = ''] = text.split(':');
  return midnight + (Number(hour) * 60 + Number(minute)) * 60_000;
};
const stretch = { from: clock('00:00') - 90 * 60_000, to: clock('07:00') };
const sayInstant = (at: number) => instantText(at).slice(11, 16);

const names: { readonly [id: string]: string } = { shop: 'Shop', nas: 'NAS', wiki: 'Wiki' };

function told(
  type: string,
  id: string,
  {
    from,
    to,
    summary = `${names[id]}: ${type}.`,
  }: { from?: string; to?: string; summary?: string },
): Notice {
  return notice(`${id} ${type} ${to ?? from}`, {
    type: `rollcall.${type}`,
    serviceId: id,
    outageId: from === undefined ? null : `${id}.${from}`,
    data: {
      summary,
      service: { id, name: names[id] },
      observation: { detail: to === undefined ? 'nothing listens on 192.0.2.7:80' : null },
      outage:
        from === undefined
          ? null
          : {
              firstFailedAt: instantText(clock(from)),
              restoredAt: to === undefined ? null : instantText(clock(to)),
            },
    },
  });
}
const down = (id: string, from: string) => told('service.down', id, { from });
const up = (id: string, from: string, to: string) => told('service.up', id, { from, to });

const textOf = (...notices: readonly Notice[]) => {
  const { text } = sumOf({ notices, stretch, sayInstant });
  return String(text).split('\n');
};

test('what ended without a word of it is not said to be down', () => {
  const notices = [down('shop', '03:10'), down('nas', '05:00')];
  const endedAt = new Map([['shop.03:10', clock('03:40')]]);
  expect(String(sumOf({ notices, stretch, endedAt, sayInstant })['text']).split('\n')).toEqual([
    'NAS has been down since 05:00: nothing listens on 192.0.2.7:80.',
    'Shop was down 03:10–03:40 (30 min), is up again.',
  ]);
});

test.each([
  [
    'down and up again',
    [down('shop', '03:10'), up('shop', '03:10', '03:40')],
    ['Shop was down 03:10–03:40 (30 min), is up again.'],
  ],
  [
    'down still, with the reason',
    [down('shop', '03:10')],
    ['Shop has been down since 03:10: nothing listens on 192.0.2.7:80.'],
  ],
  [
    'twice, and down still',
    [down('shop', '01:00'), up('shop', '01:00', '01:30'), down('shop', '05:00')],
    [
      'Shop has been down since 05:00: nothing listens on 192.0.2.7:80. It was down 01:00–01:30 (30 min) before.',
    ],
  ],
  [
    'twice, and up',
    [
      down('shop', '01:00'),
      up('shop', '01:00', '01:30'),
      down('shop', '05:00'),
      up('shop', '05:00', '05:05'),
    ],
    ['Shop was down 01:00–01:30 (30 min) and 05:00–05:05 (5 min), is up again.'],
  ],
  [
    'the end alone of what was told before',
    [up('shop', '00:05', '03:40')],
    ['Shop was down 00:05–03:40 (3 h 35 min), is up again.'],
  ],
  [
    'a reminder says nothing of its own',
    [down('shop', '03:10'), told('outage.reminder', 'shop', { from: '03:10' })],
    ['Shop has been down since 03:10: nothing listens on 192.0.2.7:80.'],
  ],
  [
    'up again, but degraded',
    [down('shop', '03:10'), told('service.degraded', 'shop', { from: '03:10', to: '03:40' })],
    ['Shop was down 03:10–03:40 (30 min), is up again, but degraded.'],
  ],
  [
    'out of sight at the end',
    [down('shop', '03:10'), told('service.unobserved', 'shop', { summary: 'Nobody can tell.' })],
    ['Nobody can tell.'],
  ],
  [
    'degraded alone: the newest counts',
    [
      told('service.degraded', 'shop', { summary: 'Shop is degraded.' }),
      told('service.up', 'shop', { summary: 'Shop is back to normal.' }),
    ],
    ['Shop is back to normal.'],
  ],
  [
    'what is down comes first, and what is about no state keeps its sentence',
    [
      told('certificate.expiring', 'nas', { summary: 'The certificate of NAS ends in 3 days.' }),
      down('wiki', '02:00'),
      up('wiki', '02:00', '02:10'),
      down('shop', '03:10'),
      notice('s', {
        type: 'rollcall.self.trouble',
        serviceId: null,
        outageId: null,
        data: { summary: 'The disk is full.' },
      }),
    ],
    [
      'Shop has been down since 03:10: nothing listens on 192.0.2.7:80.',
      'Wiki was down 02:00–02:10 (10 min), is up again.',
      'The certificate of NAS ends in 3 days.',
      'The disk is full.',
    ],
  ],
] as const)('%s', (_, notices, lines) => {
  expect(textOf(...notices)).toEqual(lines);
});

test('one sentence says of whom there is news, what is down first', () => {
  const notices = [down('wiki', '02:00'), up('wiki', '02:00', '02:10'), down('shop', '03:10')];
  const data = sumOf({ notices, stretch, sayInstant });
  expect(data.summary).toBe(
    'In the quiet hours, 22:30 to 07:00: Shop is still down; there is news of Wiki.',
  );
  expect(data).toMatchObject({
    period: 'quiet',
    from: '2026-11-24T22:30:00.000Z',
    to: '2026-11-25T07:00:00.000Z',
    lines: [{ service: { id: 'shop', name: 'Shop' } }, { service: { id: 'wiki', name: 'Wiki' } }],
  });
});

test('of one service alone the sentence says all', () => {
  const notices = [down('shop', '03:10'), up('shop', '03:10', '03:40')];
  expect(sumOf({ notices, stretch, sayInstant }).summary).toBe(
    'In the quiet hours, 22:30 to 07:00: Shop was down 03:10–03:40 (30 min), is up again.',
  );
});
