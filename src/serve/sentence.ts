/** How things are, in one sentence; and the few words of it that fit a title. Pure. */
import type { Standing } from '../base/standing.ts';
import type { State } from '../base/values.ts';
import { listed } from '../base/words.ts';

export interface Stand {
  readonly id: string;
  readonly name: string;
  /** Its runs are what is well or not: it does not answer. */
  readonly isJob: boolean;
  readonly standing: Standing;
  /** Under planned work: what is wrong with it is meant to be. */
  readonly planned: boolean;
}

export interface Counts {
  readonly up: number;
  readonly degraded: number;
  readonly down: number;
  readonly unobserved: number;
  /** Under a planned window; these are counted in their state as well. */
  readonly planned: number;
}

/** More names than this make no sentence that is read at a glance. */
const namesShownCountMax = 3;

/** Down first, its own fault before another's; then degraded; then unobserved. `up` stays out. */
const gravity: Readonly<Record<State, number>> = { down: 0, degraded: 1, unobserved: 2, up: 3 };

export function countsOf(stands: readonly Stand[]): Counts {
  const of = (state: State) => stands.filter(({ standing }) => standing.state === state).length;
  return {
    up: of('up'),
    degraded: of('degraded'),
    down: of('down'),
    unobserved: of('unobserved'),
    planned: stands.filter(({ planned }) => planned).length,
  };
}

/** What is wrong, the worst first. A service that has not been asked yet, or is under planned work, is not wrong. */
export function troubled(stands: readonly Stand[]): readonly Stand[] {
  const rank = ({ standing }: Stand) =>
    gravity[standing.state] + (standing.causeId === null ? 0 : 0.5);
  return stands
    .filter(({ standing, planned }) => standing.state !== 'up' && !planned && !isNew(standing))
    .sort((a, b) => rank(a) - rank(b));
}

/** The worst state on the roll; null while nobody was asked. */
export function worstOf(stands: readonly Stand[]): State | null {
  if (stands.every(({ standing }) => isNew(standing))) return null;
  return troubled(stands)[0]?.standing.state ?? 'up';
}

/** `2 down`, `1 degraded`, `1 not observed`, `all up`: what a tab has room for. */
export function titleOf(stands: readonly Stand[]): string {
  if (stands.length === 0) return 'nothing to watch';
  const worst = worstOf(stands);
  if (worst === null) return 'not asked yet';
  if (worst === 'up') return stands.length === 1 ? 'up' : 'all up';
  const count = troubled(stands).filter(({ standing }) => standing.state === worst).length;
  return `${count} ${worst === 'unobserved' ? 'not observed' : worst}`;
}

/** `sinceOf` says an instant: `09:14`, `24 Nov, 09:14`. */
export function sentenceOf(all: readonly Stand[], sinceOf: (at: number) => string): string {
  if (all.length === 0) return 'No service is on the roll.';
  // What is meant to be is said apart.
  const meant = all.filter(({ planned, standing }) => planned && standing.state !== 'up');
  const stands = all.filter((stand) => !meant.includes(stand));
  if (meant.length === 0) return standsSentence(stands, sinceOf);
  const planned = `${namesOf(meant)} ${meant.length === 1 ? 'is' : 'are'} under planned work.`;
  return stands.length === 0 ? planned : `${standsSentence(stands, sinceOf)} ${planned}`;
}

function standsSentence(stands: readonly Stand[], sinceOf: (at: number) => string): string {
  if (stands.every(({ standing }) => isNew(standing))) {
    const who = stands.length === 1 ? `${first(stands)} is` : `${countedOf(stands)} are`;
    return `${who} being asked for the first time.`;
  }
  const down = inState(stands, 'down');
  const clauses =
    down.length > 0
      ? [...downClauses(down, sinceOf), ...restClauses(stands), unseenCount(stands)]
      : [...quietClauses(stands), unseenNames(stands)];
  const text = clauses.filter((clause) => clause !== '').join('; ');
  // No name is written otherwise than its owner did.
  return `${text.replace(/^all (?=\d+ (?:services|jobs) )/, 'All ')}.`;
}

/** Those that are to blame for themselves are named first, each with those behind it; then jobs. */
function downClauses(down: readonly Stand[], sinceOf: (at: number) => string): readonly string[] {
  const ids = new Set(down.map(({ id }) => id));
  const behind = down.filter(({ standing }) => ids.has(standing.causeId ?? ''));
  const own = down.filter((stand) => !behind.includes(stand));
  // Two that name each other leave nobody to blame; then all are named.
  if (own.length === 0) return parted(down).map((group) => downClause(group, [], sinceOf));
  const groups = parted(own);
  return groups.map((group, nth) => {
    const isOf = (stand: Stand) => groupOf(groups, stand) === nth;
    return downClause(group, behind.filter(isOf), sinceOf);
  });
}

/** Which group it is down with; the first where its cause is behind another one itself. */
function groupOf(groups: readonly (readonly Stand[])[], { standing }: Stand): number {
  const found = groups.findIndex((group) => group.some(({ id }) => id === standing.causeId));
  return Math.max(found, 0);
}

/** Services, then jobs; those only that there are. */
function parted(stands: readonly Stand[]): readonly (readonly Stand[])[] {
  return [servicesOf(stands), jobsOf(stands)].filter((group) => group.length > 0);
}

function downClause(
  group: readonly Stand[],
  behind: readonly Stand[],
  sinceOf: (at: number) => string,
): string {
  const isOne = group.length === 1;
  const withIt = behind.length > 0 ? `, and ${namesOf(behind)} with ${isOne ? 'it' : 'them'}` : '';
  const since = isOne ? group[0]?.standing.since : null;
  const how = downWord(group);
  return typeof since === 'number'
    ? `${namesOf(group)} has been ${how} since ${sinceOf(since)}${withIt}`
    : `${namesOf(group)} ${isOne ? 'is' : 'are'} ${how}${withIt}`;
}

/** What is down of a job are its runs. */
function downWord(group: readonly Stand[]): string {
  const words = new Set(group.map((stand) => (stand.isJob ? jobWord(stand) : 'down')));
  const [word = 'down'] = words;
  return words.size === 1 ? word : 'failing';
}

function jobWord({ standing }: Stand): string {
  const reason = standing.last?.trouble?.reason;
  return reason === 'overdue' || reason === 'hanging' ? reason : 'failing';
}

/** `11 others answer, 1 of them with reservations`; where there are jobs, services and jobs apart. */
function restClauses(stands: readonly Stand[]): readonly string[] {
  const [services, jobs] = [servicesOf(stands), jobsOf(stands)];
  const degraded = (group: readonly Stand[]) => inState(group, 'degraded').length;
  const well = (group: readonly Stand[]) => inState(group, 'up').length + degraded(group);
  const isOther = (group: readonly Stand[]) => inState(group, 'down').length > 0;
  const [answering, working] = [well(services), well(jobs)];
  const who =
    jobs.length === 0
      ? `${answering} ${answering === 1 ? 'other' : 'others'}`
      : numbered(answering, isOther(services) ? 'other service' : 'service');
  const job = numbered(working, isOther(jobs) ? 'other job' : 'job');
  return [
    answering === 0
      ? ''
      : `${who} ${answering === 1 ? 'answers' : 'answer'}${ofThem(degraded(services), answering, 'with reservations')}`,
    working === 0 ? '' : `${job} ${inOrder(degraded(jobs), working)}`,
  ];
}

function inOrder(degradedCount: number, of: number): string {
  if (degradedCount === 0) return of === 1 ? 'is in order' : 'are in order';
  if (of === 1) return 'works, but not as usual';
  return `work${ofThem(degradedCount, of, 'not as usual')}`;
}

function ofThem(count: number, of: number, how: string): string {
  if (count === 0) return '';
  return of === 1 ? ` ${how}` : `, ${count} of them ${how}`;
}

/** Nothing is down: `all 12 services answer, Photo archive with reservations`, `all 3 jobs are in order`. */
function quietClauses(stands: readonly Stand[]): readonly string[] {
  return [quietServices(servicesOf(stands)), quietJobs(jobsOf(stands))];
}

function quietServices(services: readonly Stand[]): string {
  const seen = seenOf(services);
  if (seen.length === 0) return '';
  const degraded = inState(services, 'degraded');
  if (services.length === 1) {
    return `${first(services)} answers${degraded.length === 0 ? '' : ' with reservations'}`;
  }
  const limited = degraded.length === 0 ? '' : `, ${namesOf(degraded)} with reservations`;
  const answer = seen.length === 1 ? 'answers' : 'answer';
  return `${allOf(services, seen)} ${answer}${limited}`;
}

function quietJobs(jobs: readonly Stand[]): string {
  const seen = seenOf(jobs);
  if (seen.length === 0) return '';
  const degraded = inState(jobs, 'degraded');
  if (jobs.length === 1) return `${first(jobs)} ${inOrder(degraded.length, 1)}`;
  if (degraded.length === 0) return `${allOf(jobs, seen)} ${inOrder(0, seen.length)}`;
  const work = seen.length === 1 ? 'works' : 'work';
  return `${allOf(jobs, seen)} ${work}, ${namesOf(degraded)} not as usual`;
}

/** `all 12 services`; `11 services` where one is not seen. */
function allOf(group: readonly Stand[], seen: readonly Stand[]): string {
  return `${seen.length === group.length ? 'all ' : ''}${countedOf(seen)}`;
}

function seenOf(stands: readonly Stand[]): readonly Stand[] {
  return stands.filter(({ standing }) => standing.state !== 'unobserved');
}

function unseenCount(stands: readonly Stand[]): string {
  const { length } = inState(stands, 'unobserved');
  return length === 0 ? '' : `${length} ${length === 1 ? 'is' : 'are'} not observed`;
}

function unseenNames(stands: readonly Stand[]): string {
  const unseen = inState(stands, 'unobserved');
  return unseen.length === 0
    ? ''
    : `${namesOf(unseen)} ${unseen.length === 1 ? 'is' : 'are'} not observed`;
}

/** `12 services and 3 jobs`. */
function countedOf(stands: readonly Stand[]): string {
  const [services, jobs] = [servicesOf(stands).length, jobsOf(stands).length];
  return [
    ...(services === 0 ? [] : [numbered(services, 'service')]),
    ...(jobs === 0 ? [] : [numbered(jobs, 'job')]),
  ].join(' and ');
}

function numbered(count: number, one: string): string {
  return `${count} ${count === 1 ? one : `${one}s`}`;
}

function servicesOf(stands: readonly Stand[]): readonly Stand[] {
  return stands.filter(({ isJob }) => !isJob);
}

function jobsOf(stands: readonly Stand[]): readonly Stand[] {
  return stands.filter(({ isJob }) => isJob);
}

function namesOf(stands: readonly Stand[]): string {
  return listed(
    stands.map(({ name }) => name),
    namesShownCountMax,
  );
}

function first(stands: readonly Stand[]): string {
  return stands[0]?.name ?? '';
}

function inState(stands: readonly Stand[], state: State): readonly Stand[] {
  return stands.filter(({ standing }) => standing.state === state);
}

function isNew({ state, since, last }: Standing): boolean {
  return state === 'unobserved' && since === null && last === null;
}
