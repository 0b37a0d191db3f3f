/** Who is told of a change: the rules as a table, one change at a time. */
import { expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import type { Change } from '../../src/judge/memory.ts';
import type { NoticeEdit } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { createDrafter } from '../../src/tell/draft.ts';
import { byId, card, change, fourOClock, outage, standing } from '../support/telling.ts';

const holdMs = 20_000;
const phone: ChannelChoice = { name: 'phone', only: null };

/** power ← nas ← shop ← till; backup needs nas and dns. Listed in an order of its own. */
const cards = byId(
  card('till', { needs: ['shop'] }),
  card('shop', { group: 'Front', needs: ['nas'] }),
  card('nas', { group: 'Data', needs: ['power'] }),
  card('power', { group: 'Cellar' }),
  card('dns', { group: 'Cellar' }),
  card('backup', { group: 'Jobs', needs: ['nas', 'dns'] }),
);

function drafted(
  given: Change,
  standings: { readonly [id: string]: Standing } = {},
  channels: readonly ChannelChoice[] = [phone],
): readonly NoticeEdit[] {
  let nth = 0;
  const draft = createDrafter({ cards, channels, newId: () => `n${nth++}`, holdMs: () => holdMs });
  return draft(given, (id) => standings[id]);
}

/** One line an edit: what matters of it. */
function said(edits: readonly NoticeEdit[]): readonly string[] {
  return edits.map((edit) => {
    if (edit.kind === 'fold') return `fold ${edit.serviceIds.join(' ')} into ${edit.into}`;
    if (!('notice' in edit)) return edit.kind;
    const { notice } = edit;
    const kind = edit.kind === 'restore' ? `restore ${edit.outageId}` : 'add';
    const after = (notice.notBefore - notice.at) / 1000;
    return `${kind} ${notice.id} → ${notice.channels.join(' ')} after ${after} s: ${notice.data.summary}`;
  });
}

const at = fourOClock;
const power = outage('power', at);
const nasBehind = outage('nas', at + 1_000, { causeId: 'power' });
const shopBehind = outage('shop', at + 2_000, { causeId: 'power' });
const why = 'nothing listens on 192.0.2.7:5432';

test('what nobody wants to hear is not told', () => {
  expect(drafted(change('power', 'up', 'down', { outage: power, told: false }))).toEqual([]);
  expect(drafted(change('unknown', 'up', 'down', { outage: outage('unknown', at) }))).toEqual([]);
});

test('a service that needs nothing is told at once, with all that it takes along', () => {
  expect(said(drafted(change('power', 'up', 'down', { outage: power })))).toEqual([
    `add n0 → phone after 0 s: Power is down: ${why}; Till, Shop, Nas and Backup need it.`,
  ]);
});

test('a service that needs others is held back', () => {
  const given = change('shop', 'up', 'down', { outage: outage('shop', at) });
  expect(said(drafted(given))).toEqual([
    `add n0 → phone after 20 s: Shop is down: ${why}; Till needs it.`,
  ]);
});

test('a service behind a cause is not told by itself', () => {
  const given = change('nas', 'up', 'down', { outage: nasBehind });
  expect(drafted(given, { power: standing('down', power) })).toEqual([]);
});

test('what went down before its cause is folded into it', () => {
  const given = change('power', 'up', 'down', { outage: power });
  const standings = {
    nas: standing('down', nasBehind),
    shop: standing('down', shopBehind),
    // Down of its own accord, and up: neither belongs to this.
    backup: standing('down', outage('backup', at - 60_000)),
    till: standing('up', null),
  };
  expect(said(drafted(given, standings))).toEqual([
    `add n0 → phone after 0 s: Power is down: ${why}; Till, Shop, Nas and Backup need it.`,
    'fold shop nas into n0',
  ]);
});

test('what an earlier outage of the same cause explained is not folded into this one', () => {
  const later = outage('power', at + 600_000);
  const given = change('power', 'up', 'down', { outage: later });
  expect(said(drafted(given, { nas: standing('down', nasBehind) }))).toHaveLength(1);
});

test('the end of an outage restores', () => {
  const ended = { ...power, restoredAt: at + 840_000 };
  expect(said(drafted(change('power', 'down', 'up', { outage: ended })))).toEqual([
    `restore power.${at} n0 → phone after 0 s: Power is up again after 14 min.`,
  ]);
});

test('the end of an outage after time without proof restores as well', () => {
  const ended = { ...power, restoredAt: at + 840_000 };
  expect(said(drafted(change('power', 'unobserved', 'up', { outage: ended })))).toEqual([
    `restore power.${at} n0 → phone after 0 s: Power is up again after 14 min.`,
  ]);
});

test('what is still down when its cause is back is told by itself, after a while', () => {
  const ended = { ...power, restoredAt: at + 840_000 };
  const standings = {
    nas: standing('down', nasBehind),
    shop: standing('down', outage('shop', at, { causeId: 'dns' })),
    backup: standing('up', null),
    till: standing('unobserved', outage('till', at + 1, { causeId: 'power' })),
  };
  const edits = drafted(change('power', 'down', 'up', { outage: ended }), standings);
  expect(said(edits)).toEqual([
    `restore power.${at} n0 → phone after 0 s: Power is up again after 14 min.`,
    `add n2 → phone after 20 s: Nas is still down now that Power answers again: ${why}; Till, Shop and Backup need it.`,
  ]);
  expect(edits[1]).toMatchObject({
    notice: {
      type: 'rollcall.service.down',
      serviceId: 'nas',
      outageId: nasBehind.id,
      data: {
        state: 'down',
        previous: 'up',
        since: '2026-11-25T04:00:01.000Z',
        cause: null,
        outage: { id: nasBehind.id, restoredAt: null },
        affected: ['till', 'shop', 'backup'],
      },
    },
  });
});

test('a cause that comes back only half releases what is behind it all the same', () => {
  const ended = { ...power, restoredAt: at + 40_000 };
  const given = change('power', 'down', 'degraded', { outage: ended });
  expect(said(drafted(given, { nas: standing('down', nasBehind) }))).toEqual([
    `add n0 → phone after 0 s: Power is up again after 40 s, but degraded: ${why}.`,
    `add n1 → phone after 20 s: Nas is still down now that Power answers again: ${why}; Till, Shop and Backup need it.`,
  ]);
});

test('a second outage of the cause does not tell twice of what stayed down', () => {
  const second = { ...outage('power', at + 600_000), restoredAt: at + 700_000 };
  const given = change('power', 'down', 'up', { outage: second });
  expect(said(drafted(given, { nas: standing('down', nasBehind) }))).toHaveLength(1);
});

test('whether the end of an outage behind a cause is news is left to the record', () => {
  const ended = { ...nasBehind, restoredAt: at + 841_000 };
  const edits = drafted(change('nas', 'down', 'up', { outage: ended }));
  expect(said(edits)).toEqual([
    `restore ${nasBehind.id} n0 → phone after 0 s: Nas is up again after 14 min.`,
  ]);
});

test.each([
  [change('shop', 'degraded', 'up'), 'Shop is back to normal.'],
  [change('shop', 'unobserved', 'up'), 'Shop answers again.'],
  [change('shop', 'up', 'degraded'), `Shop is degraded: ${why}.`],
  [change('shop', 'up', 'unobserved'), `Nobody can tell whether Shop is up: ${why}.`],
])('other changes are told plainly and at once: %#', (given, summary) => {
  expect(said(drafted(given))).toEqual([`add n0 → phone after 0 s: ${summary}`]);
});

test('a peer that was never seen to answer was not up before', () => {
  const never = { ...nasBehind, lastGoodAt: null };
  const given = change('power', 'down', 'up', { outage: { ...power, restoredAt: at + 1 } });
  const [, told] = drafted(given, { nas: standing('down', never) });
  expect(told).toMatchObject({ notice: { data: { previous: 'unobserved' } } });
});

test('the newest failure is what is told of a service that is still down', () => {
  const trouble = { layer: 'tls', reason: 'expired', detail: '', hint: 'Renew it.' } as const;
  const last = { ...change('nas', 'up', 'down', { trouble, decidedAt: at + 9 }).observation };
  const given = change('power', 'down', 'up', { outage: { ...power, restoredAt: at + 1 } });
  const [, told] = drafted(given, { nas: { ...standing('down', nasBehind), last } });
  expect(told).toMatchObject({
    notice: { data: { observation: { at: '2026-11-25T04:00:00.009Z', reason: 'expired' } } },
  });
});

const data: ChannelChoice = { name: 'data', only: { groups: ['Data'] } };
const downs: ChannelChoice = { name: 'downs', only: { changes: ['down'] } };
const ups: ChannelChoice = { name: 'ups', only: { changes: ['up'] } };
const shopUps: ChannelChoice = { name: 'shop-ups', only: { services: ['shop'], changes: ['up'] } };
const open: ChannelChoice = { name: 'open', only: { groups: [], services: null } };

test.each([
  ['nas', 'down', ['phone', 'data', 'downs', 'open']],
  ['nas', 'up', ['phone', 'data', 'ups', 'open']],
  ['shop', 'up', ['phone', 'ups', 'shop-ups', 'open']],
  ['power', 'degraded', ['phone', 'open']],
] as const)('channels take what fits their filter: %s %s', (id, to, names) => {
  const edits = drafted(change(id, 'degraded', to), {}, [phone, data, downs, ups, shopUps, open]);
  expect(edits).toMatchObject([{ notice: { channels: names } }]);
});

test('where no channel fits nothing is added', () => {
  expect(drafted(change('dns', 'up', 'degraded'), {}, [data])).toEqual([]);
  expect(drafted(change('dns', 'up', 'down', { outage: outage('dns', at) }), {}, [data])).toEqual(
    [],
  );
  expect(drafted(change('dns', 'up', 'down', { outage: outage('dns', at) }), {}, [])).toEqual([]);
});

test('a held message is withdrawn even where nobody wants to hear that it is over', () => {
  const ended = { ...power, restoredAt: at + 1_000 };
  const edits = drafted(change('power', 'down', 'up', { outage: ended }), {}, [downs]);
  expect(edits).toMatchObject([{ kind: 'restore', outageId: power.id, notice: { channels: [] } }]);
});

test('a channel that never hears of outages is plainly told of the end of one', () => {
  const given = change('power', 'down', 'up', { outage: { ...power, restoredAt: at + 1_000 } });
  const told = { kind: 'add', notice: { channels: ['ups'] } };
  expect(drafted(given, {}, [ups])).toMatchObject([told]);
  expect(drafted(given, {}, [ups, phone])).toMatchObject([
    { kind: 'restore', notice: { channels: ['phone'] } },
    told,
  ]);
});

test('a channel that does not carry the cause is told of the service itself', () => {
  const behind = change('nas', 'up', 'down', { outage: nasBehind });
  const powerIsDown = { power: standing('down', power) };
  const edits = drafted(behind, powerIsDown, [phone, data]);
  expect(said(edits)).toEqual([
    'add n0 → data after 0 s: Nas is down: it needs Power, which is down.',
  ]);
  expect(edits).toMatchObject([{ notice: { data: { cause: 'power' } } }]);
});

test('where no channel carries the cause there is nothing to fold into', () => {
  const given = change('power', 'up', 'down', { outage: power });
  expect(drafted(given, { nas: standing('down', nasBehind) }, [data])).toEqual([]);
});

test('a channel that heard of the service itself is not told again when the cause is back', () => {
  const given = change('power', 'down', 'up', { outage: { ...power, restoredAt: at + 9_000 } });
  const edits = drafted(given, { nas: standing('down', nasBehind) }, [phone, data]);
  expect(edits).toMatchObject([{ kind: 'restore' }, { notice: { channels: ['phone'] } }]);
});

test('what another outage explains by now is told to those who heard of it by this one alone, where they are left with nothing', () => {
  const front: ChannelChoice = { name: 'front', only: { groups: ['Front', 'Data'] } };
  const nas = outage('nas', at + 1_000, { restoredAt: at + 9_000, causeId: 'power' });
  const given = change('nas', 'down', 'up', { outage: nas });
  const isDown = { shop: standing('down', shopBehind), power: standing('down', power) };
  const edits = drafted(given, isDown, [phone, front]);
  expect(said(edits)).toEqual([
    'restore nas.1795579201000 n0 → phone front after 0 s: Nas is up again after 8 s.',
    'add n2 → front after 20 s: Shop is down: it needs Power, which is down.',
  ]);
  expect(edits[1]).toMatchObject({ ifUnheard: true, notice: { data: { cause: 'power' } } });
  // Of what began before this one was last seen good nobody heard by it.
  const late = { ...nas, lastGoodAt: at + 60_000 };
  expect(drafted({ ...given, outage: late }, isDown, [phone, front])).toHaveLength(1);
});

test('services that need each other in a circle do no harm', () => {
  const circle = byId(card('a', { needs: ['b'] }), card('b', { needs: ['a'] }));
  const draft = createDrafter({
    cards: circle,
    channels: [phone],
    newId: () => 'n',
    holdMs: () => holdMs,
  });
  const edits = draft(change('a', 'up', 'down', { outage: outage('a', at) }), () => undefined);
  expect(edits).toMatchObject([{ notice: { data: { affected: ['b'] } } }]);
});
