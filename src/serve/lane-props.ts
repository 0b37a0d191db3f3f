/** One service on the roll. Its lane is the same thing for as long as it says the same, so that it is not written anew. */
import type { FiguresProps, LaneProps, LastProps } from '../../web/props.ts';
import { certificateIn } from '../base/certificate-facts.ts';
import { nameCharsMax, stripsCountMax } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { Observation, ServiceCard } from '../base/values.ts';
import type { Availability } from '../uptime/availability.ts';
import { sayShare } from '../uptime/say.ts';
import type { Board } from './board.ts';
import type { Chart } from './charts.ts';
import { jobLast, jobRemarks } from './job-words.ts';
import { openLink, servicePage } from './links.ts';
import { stripOf } from './strip.ts';
import { sayCount, sayLasting, sayTook, unbroken } from './zone.ts';

interface Roll {
  readonly now: number;
  /** Instants of another day are said with it. */
  readonly today: string;
  /** All that are on it. */
  readonly cards: readonly ServiceCard[];
}

/** What a lane is made of, where it is not a job's. */
interface Made {
  readonly standing: Standing;
  readonly chart: Promise<Chart> | null;
  readonly days30: Promise<Availability>;
  readonly plannedUntil: number | null;
  readonly today: string;
}

interface Kept {
  /** Null: it says how long something lasts yet, and is made anew each time. */
  readonly of: Made | null;
  readonly lane: LaneProps;
  /** All of it but the strip. */
  readonly words: string;
}

const keptOf = new WeakMap<Board, Map<string, Kept>>();

export async function lanesOf(board: Board, cards: readonly ServiceCard[], now: number) {
  const roll = { now, today: board.zone.day(now), cards };
  const found = cards.map((card) => laneOf(board, card, roll));
  // Together: of those that fail none must be left alone.
  await Promise.all(found.filter((lane) => lane instanceof Promise));
  const lanes: LaneProps[] = [];
  for (const lane of found) lanes.push(lane instanceof Promise ? await lane : lane);
  return lanes;
}

/** At once where it is kept: of a thousand, most are. */
export function laneOf(
  board: Board,
  card: ServiceCard,
  { now, today, cards }: Roll,
): LaneProps | Promise<LaneProps> {
  const { id } = card;
  const standing = board.standingOf(id);
  const isDrawn = cards.length <= stripsCountMax || standing.state !== 'up';
  const of = {
    standing,
    chart: isDrawn ? board.figures.chart(id, 'day') : null,
    days30: board.figures.days30(id),
    plannedUntil: board.plannedUntil(id),
    today,
  };
  const known = keptOf.get(board)?.get(id);
  return known?.of && isSame(known.of, of) ? known.lane : laneAnew(board, card, of, now);
}

function isSame(one: Made, other: Made): boolean {
  return (
    one.standing === other.standing &&
    one.chart === other.chart &&
    one.days30 === other.days30 &&
    one.plannedUntil === other.plannedUntil &&
    one.today === other.today
  );
}

async function laneAnew(
  board: Board,
  card: ServiceCard,
  { chart, days30, today }: Made,
  now: number,
): Promise<LaneProps> {
  const [drawn, figures] = await Promise.all([chart, days30]);
  // Meanwhile they may be others.
  const standing = board.standingOf(card.id);
  const plannedUntil = board.plannedUntil(card.id);
  const lane = madeOf(board, card, { standing, chart: drawn, days30: figures }, now);
  const words = JSON.stringify({ ...lane, strip: null });
  const lanes = keptOf.get(board) ?? new Map<string, Kept>();
  keptOf.set(board, lanes);
  const known = lanes.get(card.id);
  const isAsBefore = known?.words === words && known.lane.strip === lane.strip;
  const kept = {
    of: isTimeless(board, card, standing) ? { standing, chart, days30, plannedUntil, today } : null,
    lane: isAsBefore ? known.lane : lane,
    words,
  };
  lanes.set(card.id, kept);
  return kept.lane;
}

/** Whether it says nothing that becomes another thing by itself before the day is over. */
function isTimeless({ jobs }: Board, { id }: ServiceCard, { last }: Standing): boolean {
  return !jobs?.planOf(id) && certificateRemarks(last, 0).length === 0;
}

interface Found {
  readonly standing: Standing;
  readonly chart: Chart | null;
  readonly days30: Availability;
}

function madeOf(
  board: Board,
  card: ServiceCard,
  { standing, chart, days30 }: Found,
  now: number,
): LaneProps {
  return {
    id: card.id,
    name: board.nameOf(card.id),
    open: openLink(card.open),
    page: servicePage(board, card.id),
    kind: card.kind,
    state: standing.state,
    since: standing.since === null ? null : board.zone.moment(standing.since, now),
    remarks: remarksOf(board, card.id),
    last: board.jobs?.planOf(card.id)
      ? jobLast(board, board.jobs, card.id)
      : standing.last && lastOf(board, standing.last, now),
    strip: chart && stripOf(chart, 'Last 24 hours'),
    figures: figuresProps(days30),
  };
}

/** What else is to be said of a state. */
export function remarksOf(board: Board, serviceId: string): string[] {
  const now = board.clock.wallMs();
  const plannedUntil = board.plannedUntil(serviceId);
  const { suspect, unsteady, causeId, last, state } = board.standingOf(serviceId);
  return [
    ...(last === null && state === 'unobserved' ? ['not asked yet'] : []),
    ...(suspect ? ['asked again'] : []),
    ...(unsteady ? ['unsteady, so single changes are not told'] : []),
    ...(plannedUntil === null
      ? []
      : [`planned until ${board.zone.moment(plannedUntil, now).text}`]),
    ...(causeId === null ? [] : [`behind ${cleanText(board.nameOf(causeId), nameCharsMax)}`]),
    ...certificateRemarks(last, now),
    ...jobRemarks(board, serviceId),
  ];
}

/** A flag of its own: it neither hides how the service is nor changes it. */
function certificateRemarks(last: Observation | null, now: number): string[] {
  const certificate = last && certificateIn(last.facts);
  if (!certificate?.isNear) return [];
  const { endsAt } = certificate;
  return [
    endsAt > now ? `certificate ends in ${sayLasting(endsAt - now)}` : 'certificate has ended',
  ];
}

export function lastOf(board: Board, last: Observation, now: number): LastProps {
  const words = {
    answered: null,
    limited: 'with reservations',
    failed: 'failed',
    unproven: 'silent',
  };
  const took = sayTook(last.tookUs);
  const unlike = words[last.outcome];
  const reading = last.outcome === 'limited' ? took : (unlike ?? took);
  return { at: board.zone.exact(last.at, now), took, unlike, reading };
}

export function figuresProps(days: Availability): FiguresProps {
  const { estimate, low, high, outages, mttrMs } = days;
  return {
    share: estimate === null ? null : unbroken(sayShare(estimate)),
    bounds: boundsOf(estimate, low, high),
    outages: sayCount(outages, 'outage'),
    restored: mttrMs === null ? null : sayLasting(mttrMs),
  };
}

/** Only where they differ from the estimate as it is written. */
function boundsOf(estimate: number | null, low: number | null, high: number | null): string | null {
  if (estimate === null || low === null || high === null) return null;
  const [lowText, highText] = [sayShare(low), sayShare(high)];
  if (lowText === highText) return null;
  return `${lowText.replace(/ %$/, '')} to ${highText}`;
}
