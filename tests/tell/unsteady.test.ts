/** What is told of a service that changes too often: edit by edit, and what comes of them on each channel. */
import { describe, expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import type { Outage, State } from '../../src/base/values.ts';
import type { Change, Unsteadiness } from '../../src/judge/memory.ts';
import type { NoticeEdit } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { createDrafter } from '../../src/tell/draft.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { fourOClock as at, byId, card, change, outage, standing } from '../support/telling.ts';

const minute = 60_000;
const holdMs = 20_000;
const why = 'nothing listens on 192.0.2.7:5432';
const phone: ChannelChoice = { name: 'phone', only: null };
const shops: ChannelChoice = { name: 'shops', only: { groups: ['Front'] } };
const ups: ChannelChoice = { name: 'ups', only: { changes: ['up'] } };

/** nas ← shop; dns stands alone. */
const cards = byId(
  card('nas', { group: 'Data' }),
  card('shop', { group: 'Front', needs: ['nas'] }),
  card('dns', { group: 'Cellar' }),
);

interface House {
  readonly draft: (given: Change, standings?: Standings) => readonly NoticeEdit[];
  /** Drafts and commits; gives what is told by it, once nothing is held any more. */
  readonly tell: (given: Change, standings?: Standings) => Promise<readonly string[]>;
  /** Without time passing. */
  readonly commit: (given: Change, standings?: Standings) => Promise<void>;
  readonly due: () => Promise<readonly string[]>;
}
type Standings = { readonly [id: string]: Standing };

function house(channels: readonly ChannelChoice[] = [phone]): House {
  let nth = 0;
  const record = memoryRecord();
  const drafter = createDrafter({
    cards,
    channels,
    newId: () => `n${nth++}`,
    holdMs: () => holdMs,
  });
  const draft: House['draft'] = (given, standings = {}) => drafter(given, (id) => standings[id]);
  const due = async () => {
    const told: string[] = [];
    const far = at + 1_000 * minute;
    for (;;) {
      const [next] = await record.dueDeliveries(far, 1);
      if (!next) return told;
      const { notice, channel } = next;
      const attempt = { noticeId: notice.id, channel, at: far, tookMs: 1, status: 204, detail: '' };
      await record.attempted({ ...attempt, next: { state: 'delivered' } });
      told.push(`${channel}: ${notice.type.replace('rollcall.service.', '')} ${notice.serviceId}`);
    }
  };
  const commit: House['commit'] = async (given, standings) => {
    const notices = draft(given, standings);
    const outages = given.outage ? [given.outage] : [];
    const nothing = { observations: [], memories: [], spans: [], unconfirmed: [] };
    await record.commit({ ...nothing, outages, notices });
  };
  return {
    draft,
    due,
    commit,
    tell: async (given, standings) => {
      await commit(given, standings);
      return due();
    },
  };
}

const since = at + 10 * minute;

/** Setbacks so many minutes ago, the last with this change. */
function unsteadiness(
  phase: Unsteadiness['phase'],
  decidedAt: number,
  agoMs: readonly number[] = [4 * minute, 0],
): Unsteadiness {
  return {
    phase,
    since,
    setbacks: agoMs.map((ms) => ({ at: decidedAt - ms, to: 'down' })),
  };
}

function down(id: string, minutes: number, phase: Unsteadiness['phase'] | null): Change {
  const decidedAt = at + minutes * minute;
  return change(id, 'up', 'down', {
    decidedAt,
    since: decidedAt,
    outage: outage(id, decidedAt),
    unsteadiness: phase && unsteadiness(phase, decidedAt),
  });
}

function up(of: Change, minutes: number, phase: Unsteadiness['phase'] | null): Change {
  const decidedAt = at + minutes * minute;
  const ended = of.outage && { ...of.outage, restoredAt: decidedAt };
  return change(of.serviceId, 'down', 'up', {
    decidedAt,
    since: decidedAt,
    outage: ended,
    unsteadiness: phase && unsteadiness(phase, decidedAt, [4 * minute]),
  });
}

function steadied(id: string, state: State, minutes: number, open: Outage | null = null): Change {
  const decidedAt = at + minutes * minute;
  return change(id, state, state, {
    decidedAt,
    since: decidedAt - 38 * minute,
    outage: open,
    unsteadiness: unsteadiness('ended', decidedAt, [30 * minute]),
  });
}

describe('the change that makes it unsteady', () => {
  test('is told as that, with how often it went down and how it stands', () => {
    const [edit, ...others] = house().draft(down('dns', 10, 'begins'));
    expect(others).toEqual([]);
    expect(edit).toMatchObject({
      kind: 'add',
      unsteadyKnown: false,
      notice: {
        type: 'rollcall.service.unsteady',
        serviceId: 'dns',
        outageId: `dns.${since}`,
        channels: ['phone'],
        data: {
          summary: `Dns went down twice within 4 min and is unsteady. Now it is down: ${why}. Single changes are held back until it is steady again.`,
          state: 'down',
          previous: 'up',
          outage: { id: `dns.${since}`, restoredAt: null },
          unsteady: { since: '2026-11-25T04:10:00.000Z', setbacksCount: 2, withinMs: 4 * minute },
        },
      },
    });
  });

  test('waits like a down for what it needs, and names what needs it', () => {
    const [shop] = house().draft(down('shop', 10, 'begins'));
    expect(shop).toMatchObject({ notice: { notBefore: at + 10 * minute + holdMs } });
    const [nas] = house().draft(down('nas', 10, 'begins'));
    expect(nas).toMatchObject({
      notice: {
        notBefore: at + 10 * minute,
        data: {
          affected: ['shop'],
          summary: expect.stringMatching(`${why}; Shop needs it. Single`),
        },
      },
    });
  });

  test('may be that it is degraded, or that nobody knows', () => {
    const decidedAt = at + 10 * minute;
    const setbacks = [
      { at: decidedAt - 12 * minute, to: 'down' },
      { at: decidedAt - minute, to: 'degraded' },
      { at: decidedAt, to: 'degraded' },
    ] as const;
    const poor = change('dns', 'up', 'degraded', {
      decidedAt,
      unsteadiness: { phase: 'begins', since: decidedAt, setbacks },
    });
    expect(house().draft(poor)).toMatchObject([
      {
        notice: {
          type: 'rollcall.service.unsteady',
          outageId: null,
          data: {
            summary: `Dns changed for the worse 3 times within 12 min and is unsteady. Now it is degraded: ${why}. Single changes are held back until it is steady again.`,
          },
        },
      },
    ]);
  });

  test('goes to the channels that carry outages', () => {
    const quiet: ChannelChoice = { name: 'quiet', only: { changes: ['up', 'degraded'] } };
    expect(house([quiet]).draft(down('dns', 10, 'begins'))).toEqual([]);
    const [edit] = house([quiet, phone, shops]).draft(down('dns', 10, 'begins'));
    expect(edit).toMatchObject({ notice: { channels: ['phone'] } });
  });
});

describe('over its whole course', () => {
  test('a flapping service is four messages, however often it flaps', async () => {
    const { tell } = house([phone, ups]);
    const heard: string[] = [];
    for (let minutes = 0; minutes < 200; minutes += 2) {
      const nth = minutes / 2;
      const failed = down('dns', minutes, nth === 0 ? null : nth === 1 ? 'begins' : 'lasts');
      heard.push(...(await tell(failed)));
      heard.push(...(await tell(up(failed, minutes + 1, nth === 0 ? null : 'lasts'))));
    }
    heard.push(...(await tell(steadied('dns', 'up', 240))));
    const calm = down('dns', 600, null);
    heard.push(...(await tell(calm)), ...(await tell(up(calm, 601, null))));
    expect(heard).toEqual([
      'phone: down dns',
      'phone: up dns',
      // Told of no outage, and of no unsteadiness: of what is steady only.
      'ups: up dns',
      'phone: unsteady dns',
      'phone: steady dns',
      'phone: down dns',
      'phone: up dns',
      'ups: up dns',
    ]);
  });

  test('where it is down when it is steady again, whoever heard that hears of the end', async () => {
    const { tell, draft } = house();
    const first = down('dns', 10, 'begins');
    expect(await tell(first)).toEqual(['phone: unsteady dns']);
    const calm = steadied('dns', 'down', 50, first.outage);
    expect(draft(calm)).toMatchObject([
      {
        kind: 'add',
        unsteadyKnown: true,
        notice: {
          type: 'rollcall.service.steady',
          outageId: first.outage?.id,
          data: {
            summary: `Dns is steady again, but it has been down for 38 min: ${why}.`,
            unsteady: { since: '2026-11-25T04:10:00.000Z', setbacksCount: 1 },
          },
        },
      },
    ]);
    expect(await tell(calm)).toEqual(['phone: steady dns']);
    expect(await tell(up(first, 60, null))).toEqual(['phone: up dns']);
  });

  test('where nobody can tell any more whether it is down, its coming up is told all the same', async () => {
    const { tell, draft } = house();
    const first = down('dns', 10, 'begins');
    await tell(first);
    await tell(up(first, 11, 'lasts'));
    const second = down('dns', 12, 'lasts');
    await tell(second);
    const silent = steadied('dns', 'unobserved', 50, second.outage);
    expect(draft(silent)).toMatchObject([
      { notice: { outageId: second.outage?.id, data: { state: 'unobserved', cause: null } } },
    ]);
    expect(await tell(silent)).toEqual(['phone: steady dns']);
    expect(await tell(up(second, 60, null))).toEqual(['phone: up dns']);
  });

  test('an outage that began unheard while it was unsteady is told with that it is steady', async () => {
    const { tell } = house();
    const first = down('dns', 10, 'begins');
    await tell(first);
    await tell(up(first, 11, 'lasts'));
    const second = down('dns', 12, 'lasts');
    expect(await tell(second)).toEqual([]);
    expect(await tell(steadied('dns', 'down', 50, second.outage))).toEqual(['phone: steady dns']);
    expect(await tell(up(second, 60, null))).toEqual(['phone: up dns']);
  });

  test('a change that comes with that it is steady is told by that alone', async () => {
    const { tell } = house([phone, ups]);
    const first = down('dns', 10, 'begins');
    await tell(first);
    expect(await tell(up(first, 80, 'ended'))).toEqual(['ups: up dns', 'phone: steady dns']);
    const again = down('dns', 100, null);
    expect(await tell(again)).toEqual(['phone: down dns']);
  });

  test('down with that it is steady again: told by that, and its end to whoever heard', async () => {
    const { tell } = house();
    const first = down('dns', 10, 'begins');
    await tell(first);
    await tell(up(first, 11, 'lasts'));
    const late = down('dns', 90, null);
    const { decidedAt } = late;
    const ending = { ...late, unsteadiness: unsteadiness('ended', decidedAt, [0]) };
    expect(await tell(ending)).toEqual(['phone: steady dns']);
    expect(await tell(up(ending, 91, null))).toEqual(['phone: up dns']);
  });

  test('nobody hears that it is steady who did not hear that it was not', async () => {
    const { tell } = house([phone, shops]);
    expect(await tell(steadied('shop', 'up', 40))).toEqual([]);
    await tell(down('shop', 50, 'begins'));
    expect(await tell(steadied('shop', 'up', 90))).toEqual([
      'phone: steady shop',
      'shops: steady shop',
    ]);
    expect(await tell(steadied('shop', 'up', 95))).toEqual([]);
  });

  test('who was not told that it is unsteady is told at its next setback', async () => {
    const { commit, due, tell } = house();
    const first = down('shop', 10, 'begins');
    await commit(first);
    // Back before its message went out: that is withdrawn, as it would be of a down.
    await commit(up(first, 10.1, 'lasts'));
    expect(await due()).toEqual([]);
    expect(await tell(down('shop', 12, 'lasts'))).toEqual(['phone: unsteady shop']);
    expect(await tell(down('shop', 14, 'lasts'))).toEqual([]);
  });

  test('an outage that was told before it was unsteady has its end told', async () => {
    const { tell } = house();
    const first = down('dns', 10, null);
    expect(await tell(first)).toEqual(['phone: down dns']);
    // As where planned time kept back that it is unsteady.
    expect(await tell(up(first, 12, 'lasts'))).toEqual(['phone: up dns']);
  });
});

describe('with others that need it', () => {
  const behind = (of: Change) =>
    outage('shop', of.decidedAt + 1_000, { causeId: 'nas', confirmedAt: of.decidedAt + 2_000 });

  test('what failed before it is folded into what was told of it, also when nothing more is told', async () => {
    const { commit, due } = house();
    const tellAll = async (minutes: number, phase: Unsteadiness['phase'] | null) => {
      // The shop shows it first.
      const shop = down('shop', minutes, null);
      await commit(shop);
      const nas = down('nas', minutes, phase);
      const moved = shop.outage && { ...shop.outage, causeId: 'nas' };
      await commit(nas, { shop: standing('down', moved) });
      const heard = [...(await due())];
      const over = { ...shop, outage: moved };
      await commit(up(nas, minutes + 1, phase === 'begins' ? 'lasts' : phase));
      await commit(up(over, minutes + 1, null));
      return [...heard, ...(await due())];
    };
    expect(await tellAll(0, null)).toEqual(['phone: down nas', 'phone: up nas']);
    expect(await tellAll(10, 'begins')).toEqual(['phone: unsteady nas']);
    expect(await tellAll(12, 'lasts')).toEqual([]);
    expect(await tellAll(14, 'lasts')).toEqual([]);
  });

  test('what is still down when it is back gets time, and is told then', () => {
    const nas = down('nas', 12, 'lasts');
    const standings = { shop: standing('down', behind(nas)) };
    expect(house().draft(up(nas, 13, 'lasts'), standings)).toMatchObject([
      { kind: 'restore', unsteadyKnown: false },
      {
        kind: 'add',
        notice: {
          type: 'rollcall.service.down',
          notBefore: at + 28 * minute,
          data: { summary: `Shop is down: ${why}.` },
        },
      },
    ]);
  });

  test('what needs it and is unsteady itself is not told by single changes either', () => {
    const nas = down('nas', 12, null);
    const standings = { shop: { ...standing('down', behind(nas)), unsteady: true } };
    const [, still] = house().draft(up(nas, 13, null), standings);
    expect(still).toMatchObject({ kind: 'add', unsteadyKnown: false });
  });

  test('behind a cause it is told where the cause is not, unless it is known to be unsteady', async () => {
    const { tell } = house([phone, shops]);
    const nas = down('nas', 20, null);
    expect(await tell(nas)).toEqual(['phone: down nas']);
    const hidden = down('shop', 20, 'lasts');
    const shop = { ...hidden, outage: behind(nas) };
    const { decidedAt } = shop;
    const quiet = { ...shop, unsteadiness: unsteadiness('lasts', decidedAt, [5 * minute]) };
    expect(await tell(quiet)).toEqual(['shops: down shop']);
    await tell(down('shop', 30, 'begins'));
    const later = { ...quiet, outage: { ...behind(nas), id: 'shop.later' } };
    expect(await tell(later)).toEqual([]);
  });

  test('steady behind a cause says so', () => {
    const open = outage('shop', at, { causeId: 'nas' });
    expect(house().draft(steadied('shop', 'down', 50, open))).toMatchObject([
      {
        notice: {
          data: {
            summary:
              'Shop is steady again, but it has been down for 38 min: it needs Nas, which is down.',
            cause: 'nas',
          },
        },
      },
    ]);
  });
});
