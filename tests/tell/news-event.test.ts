/** The news as CloudEvents and as letters, checked by the public library and the schema of the specification. */
import { readFileSync } from 'node:fs';
import { Ajv } from 'ajv';
import formats from 'ajv-formats';
import { CloudEvent, HTTP } from 'cloudevents';
import { expect, test } from 'vitest';
import type { Notice } from '../../src/record/record.ts';
import { budgetNotice } from '../../src/tell/budget.ts';
import { certificateNotices } from '../../src/tell/certificates.ts';
import { eventOf } from '../../src/tell/event.ts';
import { factsNotice } from '../../src/tell/facts.ts';
import { letterOf } from '../../src/tell/letter.ts';
import { card, fourOClock, notice } from '../support/telling.ts';

const instanceId = '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11';
const ajv = new Ajv({ strict: false });
formats.default(ajv);
const fits = ajv.compile(
  JSON.parse(
    readFileSync(new URL('../fixtures/cloudevents-1.0.2.schema.json', import.meta.url), 'utf8'),
  ),
);

const day = 86_400_000;
const shop = card('shop', { open: 'https://shop.fernhill.home.arpa/', note: 'In the cellar.' });
const channels = [{ name: 'all', only: { changes: ['certificate', 'budget', 'facts'] } }];
const at = fourOClock;
const newId = () => '0d9e6c1e-2a54-4f0b-8a37-000000000000';
const sayInstant = () => '8 Dec, 04:00';

const expiring = (id: string) => ({
  card: id === 'shop' ? shop : card(id),
  certificate: { endsAt: at + 13 * day, issuer: 'CN=Fernhill <CA>', isNear: true },
  stage: 'near' as const,
});
const digest = notice('digest-1', {
  type: 'rollcall.digest',
  serviceId: null,
  outageId: null,
  data: {
    summary: 'Fernhill Pottery, October 2026: no outage.',
    period: 'month',
    text: 'Fernhill Pottery, October 2026: no outage.\nAll 2 services were up 100 % of the time.',
  },
});

function everySort(): readonly (Notice | null)[] {
  return [
    ...certificateNotices([expiring('shop')], { channels, now: at, newId, sayInstant }),
    ...certificateNotices([expiring('shop'), expiring('nas')], {
      channels,
      now: at,
      newId,
      sayInstant,
    }),
    budgetNotice(
      {
        ...{ card: shop, objective: 0.995, allowedMs: 12_960_000, usedMs: 10_320_000 },
        ...{ outagesCount: 4, since: 'Tuesday' },
        burnRates: { longMs: 3 * day, long: 1.5, short: 2.5 },
      },
      { channels, at, newId },
    ),
    factsNotice(shop, [{ fact: 'role', before: 'standby', after: 'primary' }], {
      ...{ channels, at, newId },
      sayValue: (_, value) => value,
    }),
    digest,
  ];
}

test('every sort of news makes a valid event', () => {
  const notices = everySort().flatMap((one) => one ?? []);
  expect(notices.map(({ type, serviceId }) => [type, serviceId])).toEqual([
    ['rollcall.certificate.expiring', 'shop'],
    ['rollcall.certificate.expiring', null],
    ['rollcall.budget.burning', 'shop'],
    ['rollcall.facts.changed', 'shop'],
    ['rollcall.digest', null],
  ]);
  for (const one of notices) {
    const event = eventOf(one, instanceId);
    const body = JSON.stringify(event);
    const sent = JSON.parse(body);
    expect(sent).toEqual(event);
    expect(fits(sent), JSON.stringify(fits.errors)).toBe(true);
    const read = HTTP.toEvent({
      headers: { 'content-type': 'application/cloudevents+json' },
      body,
    });
    if (!(read instanceof CloudEvent)) throw new Error('the library reads one event');
    expect(read.validate()).toBe(true);
    expect(read.data).toEqual(one.data);
  }
});

test('as a letter a certificate says when it ends, and a digest its lines once', () => {
  const [certificate] = everySort();
  if (!certificate) throw new Error('there is one');
  const given = { sayInstant: () => '8 Dec, 04:00', link: null };
  const letter = letterOf(eventOf(certificate, instanceId), given);
  expect(letter.text).toContain('Ends: 8 Dec, 04:00\nIssued by: CN=Fernhill <CA>\n');
  expect(letter.html).toContain('CN=Fernhill &lt;CA&gt;');
  const monthly = letterOf(eventOf(digest, instanceId), given);
  expect(monthly.subject).toBe('Fernhill Pottery, October 2026: no outage.');
  expect(monthly.text).toBe(
    'Fernhill Pottery, October 2026: no outage.\nAll 2 services were up 100 % of the time.\n\nrollcall.digest · Rollcall\n',
  );
});
