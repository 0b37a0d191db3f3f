/** When a certificate that nears its end is told, to whom, and with whom. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { certificateIn } from '../../src/base/certificate-facts.ts';
import type { ServiceCard } from '../../src/base/values.ts';
import type { Notice } from '../../src/record/record.ts';
import {
  certificateNotices,
  type ExpiringCertificate,
  isTold,
  stageOf,
  withTold,
} from '../../src/tell/certificates.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { card, fourOClock } from '../support/telling.ts';

const hour = 3_600_000;
const day = 24 * hour;
const now = fourOClock;
const seen = (leftMs: number, isNear = true, issuer = 'CN=Fernhill CA') => ({
  endsAt: now + leftMs,
  issuer,
  isNear,
});
const expiring = (
  one: ServiceCard,
  leftMs: number,
  issuer = 'CN=Fernhill CA',
): ExpiringCertificate => {
  const certificate = seen(leftMs, true, issuer);
  return { card: one, certificate, stage: stageOf(certificate, now) ?? 'near' };
};
const everybody: ChannelChoice = { name: 'phone', only: null };

test.each([
  ['long before its end', seen(60 * day, false), null],
  ['near by its own lifetime', seen(20 * day), 'near'],
  ['three days and a moment before', seen(3 * day + 1), 'near'],
  ['three days before', seen(3 * day), 'last-days'],
  ['a moment before', seen(1), 'last-days'],
  ['at its end: the service says so itself', seen(0), null],
  [
    'three days before, when the owner wants to hear of the last day only',
    seen(3 * day, false),
    null,
  ],
] as const)('%s', (_, certificate, stage) => {
  expect(stageOf(certificate, now)).toBe(stage);
});

test.each([
  [{}, null],
  [{ certificateIssuer: 'CN=x' }, null],
  [{ certificateEndsAt: 'soon' }, null],
  [{ certificateEndsAt: 17 }, null],
  [
    { certificateEndsAt: '2026-12-14T09:14:00.000Z', certificateDaysLeft: 13 },
    { endsAt: Date.parse('2026-12-14T09:14:00Z'), issuer: '', isNear: false },
  ],
  [
    {
      certificateEndsAt: '2026-12-14T09:14:00.000Z',
      certificateIssuer: 'CN=x',
      certificateWarn: true,
    },
    { endsAt: Date.parse('2026-12-14T09:14:00Z'), issuer: 'CN=x', isNear: true },
  ],
])('the certificate in the facts %j', (facts, certificate) => {
  expect(certificateIn(facts)).toEqual(certificate);
});

describe('what was told', () => {
  const shop = card('shop');
  const near = expiring(shop, 10 * day);
  const last = { ...near, stage: 'last-days' as const };
  const renewed = expiring(shop, 90 * day);

  test('is not told again, but the last days are', () => {
    const words = withTold(null, near);
    expect(isTold(null, near)).toBe(false);
    expect(isTold(words, near)).toBe(true);
    expect(isTold(words, last)).toBe(false);
    expect(isTold(withTold(words, last), last)).toBe(true);
  });

  test('covers what comes before the last days', () => {
    expect(isTold(withTold(null, last), near)).toBe(true);
  });

  test('says nothing of a renewed certificate', () => {
    expect(isTold(withTold(withTold(null, near), last), renewed)).toBe(false);
  });

  test('says nothing of one from another issuer that ends at the same time', () => {
    expect(isTold(withTold(null, near), expiring(shop, 10 * day, 'CN=Other'))).toBe(false);
  });

  test('is remembered of both of two servers that take turns, and of few in all', () => {
    const two = withTold(withTold(null, near), renewed);
    expect([isTold(two, near), isTold(two, renewed)]).toEqual([true, true]);
    let words = two;
    for (let nth = 1; nth <= 20; nth++) words = withTold(words, expiring(shop, 100 * day + nth));
    expect(words.split('\n')).toHaveLength(8);
    expect(isTold(words, near)).toBe(false);
  });
});

function told(due: readonly ExpiringCertificate[], channels: readonly ChannelChoice[]) {
  let nth = 0;
  return certificateNotices(due, {
    channels,
    now,
    newId: () => `notice-${++nth}`,
    sayInstant: (at) => new Date(at).toISOString().slice(0, 16),
  });
}

test('one service is told with what it is, so that the way to it is known', () => {
  const shop = card('shop', { open: 'https://shop.fernhill.home.arpa/', note: 'Renewed by cron.' });
  expect(told([expiring(shop, 13 * day + hour)], [everybody])).toEqual([
    {
      id: 'notice-1',
      type: 'rollcall.certificate.expiring',
      at: now,
      serviceId: 'shop',
      outageId: null,
      notBefore: now,
      data: {
        summary: 'The certificate of Shop ends in 13 days, on 2026-12-08T05:00.',
        service: {
          id: 'shop',
          name: 'Shop',
          group: null,
          open: 'https://shop.fernhill.home.arpa/',
          note: 'Renewed by cron.',
        },
        services: [{ id: 'shop', name: 'Shop' }],
        certificate: { endsAt: '2026-12-08T05:00:00.000Z', issuer: 'CN=Fernhill CA' },
      },
      channels: ['phone'],
    },
  ]);
});

test('services that show the same one are named together, others apart', () => {
  const due = [
    expiring(card('shop'), 13 * day),
    expiring(card('nas'), 5 * day),
    expiring(card('photos'), 13 * day),
  ];
  const notices = told(due, [everybody]);
  expect(notices.map(({ data, serviceId }) => [data.summary, serviceId])).toEqual([
    ['The certificate of Shop and Photos ends in 13 days, on 2026-12-08T04:00.', null],
    ['The certificate of Nas ends in 5 days, on 2026-11-30T04:00.', 'nas'],
  ]);
});

test('each channel hears of those that it carries, and those that carry the same hear the same', () => {
  const due = [
    expiring(card('shop', { group: 'Studio' }), 13 * day),
    expiring(card('photos', { group: 'House' }), 13 * day),
  ];
  const channels: readonly ChannelChoice[] = [
    everybody,
    { name: 'studio', only: { groups: ['Studio'] } },
    { name: 'mail', only: null },
    { name: 'outages', only: { changes: ['down', 'up'] } },
    { name: 'certificates', only: { services: ['photos'], changes: ['certificate'] } },
  ];
  expect(told(due, channels).map((notice) => [notice.channels, idsIn(notice)])).toEqual([
    [
      ['phone', 'mail'],
      ['shop', 'photos'],
    ],
    [['studio'], ['shop']],
    [['certificates'], ['photos']],
  ]);
});

test('however the services and channels lie, a channel hears of each certificate that it carries exactly once', () => {
  const ids = ['a', 'b', 'c', 'd'];
  const services = fc.uniqueArray(
    fc.record({ id: fc.constantFrom(...ids), days: fc.constantFrom(1, 5, 13) }),
    { selector: ({ id }) => id },
  );
  const only = fc.option(fc.record({ services: fc.subarray(ids, { minLength: 1 }) }));
  fc.assert(
    fc.property(services, fc.array(only, { maxLength: 4 }), (shown, filters) => {
      const due = shown.map(({ id, days }) => expiring(card(id), days * day));
      const channels = filters.map((filter, nth) => ({ name: `channel-${nth}`, only: filter }));
      const heard = told(due, channels).flatMap((notice) =>
        notice.channels.flatMap((name) => idsIn(notice).map((id) => `${name} ${id}`)),
      );
      const wanted = channels.flatMap(({ name, only: filter }) =>
        shown
          .filter(({ id }) => filter === null || filter.services.includes(id))
          .map(({ id }) => `${name} ${id}`),
      );
      expect([...heard].sort()).toEqual([...wanted].sort());
    }),
  );
});

function idsIn({ data }: Notice): readonly string[] {
  return (data['services'] as readonly { readonly id: string }[]).map(({ id }) => id);
}
