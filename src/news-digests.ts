/** Sums up the week and the month for the channels that want it, when it is due; after a stop, the last one that was missed. */
import { certificateIn } from './base/certificate-facts.ts';
import type { ServiceCard } from './base/values.ts';
import { type NewsChannel, type NewsGiven, post } from './news-post.ts';
import type { Notice } from './record/record.ts';
import { digestOf, type EndingCertificate } from './report/digest.ts';
import { gatherServices } from './report/gather.ts';
import { gatherJobs, isPoor } from './report/jobs.ts';
import type { GivenService } from './report/month.ts';
import { type Occurrences, occurrencesOf } from './schedule/occurrences.ts';
import { covers } from './tell/channel.ts';
import { budgetPeriodMs } from './uptime/burning.ts';
import { monthBefore, monthIn, weekBefore } from './uptime/calendar.ts';
import type { Interval } from './uptime/intervals.ts';

/** Monday at 08:00, the first of the month at 08:00. */
const schedules = { weekly: '0 8 * * 1', monthly: '0 8 1 * *' } as const;
type Kind = keyof typeof schedules;

/** A clock that goes back by less than this makes no digest come twice. */
const clockSlackMs = 2 * 86_400_000;

export interface Digests {
  /** Makes what is due and was not made yet. */
  look(): Promise<void>;
}

export function digestsOf(given: NewsGiven): Digests {
  const { clock, channels, zone } = given;
  const wanted = (['weekly', 'monthly'] as const).flatMap((kind) => {
    const takers = channels.filter(({ digests }) => digests.includes(kind));
    return takers.length === 0
      ? []
      : [{ kind, takers, times: occurrencesOf(schedules[kind], zone) }];
  });
  /** Between these instants there is nothing to look for. */
  let rest: Interval = { from: 0, to: 0 };
  return {
    look: async () => {
      const now = clock.wallMs();
      if (wanted.length === 0 || (rest.from <= now && now < rest.to)) return;
      for (const one of wanted) await lookAt(given, one, now);
      const nexts = wanted.flatMap(({ times }) => times.next(now) ?? []);
      rest = { from: now, to: Math.min(...nexts) };
    },
  };
}

interface Wanted {
  readonly kind: Kind;
  readonly takers: readonly NewsChannel[];
  readonly times: Occurrences;
}

/** The record keeps the due time of the last one that was made. */
async function lookAt(given: NewsGiven, wanted: Wanted, now: number): Promise<void> {
  const { record } = given;
  const { kind, times } = wanted;
  const name = `digest:${kind}`;
  const made = Number((await record.kept(name)) ?? Number.NaN);
  const due = times.last(now);
  const isKnown = made <= now + clockSlackMs;
  if (due === null || (isKnown && due <= made)) return;
  // Who has just begun to watch, or to want one, is not told of a time before that.
  const notices = isKnown ? await noticesOf(given, wanted, { due, now }) : [];
  await post(given, notices, [{ name, words: String(due) }]);
}

async function noticesOf(
  given: NewsGiven,
  { kind, takers }: Wanted,
  { due, now }: { readonly due: number; readonly now: number },
): Promise<readonly Notice[]> {
  const { zone, title, newId } = given;
  const period = kind === 'weekly' ? 'week' : 'month';
  const whole = kind === 'weekly' ? weekBefore(due, zone) : monthIn(monthBefore(due, zone), zone);
  const services = await gatherServices(sourceOf(given, now), {
    from: Math.min(whole.from, whole.to - budgetPeriodMs),
    to: whole.to,
  });
  const jobs = (await gatherJobs(given.record, given.cards, whole)).filter(isPoor);
  return audiencesOf(takers, given.cards).map(({ ids, channels }) => ({
    id: newId(),
    type: 'rollcall.digest',
    at: now,
    serviceId: null,
    outageId: null,
    notBefore: now,
    data: digestOf({
      ...{ period, whole, title, zone, now },
      services: services.filter(({ card }: GivenService) => ids.has(card.id)),
      certificates: certificatesOf(given, ids),
      jobs: jobs.filter(({ jobId }) => ids.has(jobId)),
    }),
    channels,
  }));
}

function sourceOf(given: NewsGiven, now: number) {
  const { record, title, zone, cards, askingOf, standingOf } = given;
  return {
    ...{ record, title, zone, now },
    services: cards.map((card) => ({ card, asking: askingOf(card.id) })),
    openOf: (serviceId: string) => standingOf(serviceId).outage,
    watchedUntil: null,
  };
}

/** Channels that carry the same services get the same. */
function audiencesOf(takers: readonly NewsChannel[], cards: readonly ServiceCard[]) {
  const audiences = new Map<string, { ids: ReadonlySet<string>; channels: string[] }>();
  for (const channel of takers) {
    const ids = cards.filter((card) => covers(channel, card)).map(({ id }) => id);
    const before = audiences.get(ids.join(' '));
    if (before) before.channels.push(channel.name);
    else audiences.set(ids.join(' '), { ids: new Set(ids), channels: [channel.name] });
  }
  return [...audiences.values()];
}

function certificatesOf(
  { cards, standingOf }: NewsGiven,
  ids: ReadonlySet<string>,
): readonly EndingCertificate[] {
  return cards.flatMap(({ id, name }) => {
    const { last } = standingOf(id);
    const seen = ids.has(id) && last ? certificateIn(last.facts) : null;
    return seen ? [{ serviceId: id, name, endsAt: seen.endsAt }] : [];
  });
}
