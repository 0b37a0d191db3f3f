/** How things are, in one sentence; and the few words of it that fit a title. Pure. */
import type { Standing } from '../base/standing.ts';
import type { State } from '../base/values.ts';
import { listed } from '../base/words.ts';

export interface Stand {
  readonly id: string;
  readonly name: string;
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
    return stands.length === 1
      ? `${first(stands)} is being asked for the first time.`
      : `${stands.length} services are being asked for the first time.`;
  }
  const down = inState(stands, 'down');
  const degraded = inState(stands, 'degraded');
  const unobserved = inState(stands, 'unobserved');
  if (down.length > 0)
    return `${downClause(down, sinceOf)}${restClause(stands, degraded, unobserved)}`;
  if (degraded.length > 0 || unobserved.length > 0) {
    return quietSentence(stands, degraded, unobserved);
  }
  return stands.length === 1
    ? `${first(stands)} answers.`
    : `All ${stands.length} services answer.`;
}

/** Those that are to blame for themselves are named first, then those behind them. */
function downClause(down: readonly Stand[], sinceOf: (at: number) => string): string {
  const ids = new Set(down.map(({ id }) => id));
  const behind = down.filter(({ standing }) => ids.has(standing.causeId ?? ''));
  const own = down.filter((stand) => !behind.includes(stand));
  // Two that name each other leave nobody to blame; then all are named.
  const named = own.length > 0 ? own : down;
  const withIt =
    own.length > 0 && behind.length > 0
      ? `, and ${namesOf(behind)} with ${own.length === 1 ? 'it' : 'them'}`
      : '';
  const since = named.length === 1 ? named[0]?.standing.since : null;
  if (typeof since === 'number') {
    return `${namesOf(named)} has been down since ${sinceOf(since)}${withIt}`;
  }
  return `${namesOf(named)} ${named.length === 1 ? 'is' : 'are'} down${withIt}`;
}

/** `; 11 others answer, 1 of them with reservations; 1 is not observed.` */
function restClause(
  stands: readonly Stand[],
  degraded: readonly Stand[],
  unobserved: readonly Stand[],
): string {
  const answering = inState(stands, 'up').length + degraded.length;
  const rest =
    answering === 0
      ? ''
      : `; ${answering} ${answering === 1 ? 'other answers' : 'others answer'}${withReservations(degraded.length, answering)}`;
  const unseen =
    unobserved.length === 0
      ? ''
      : `; ${unobserved.length} ${unobserved.length === 1 ? 'is' : 'are'} not observed`;
  return `${rest}${unseen}.`;
}

function withReservations(count: number, of: number): string {
  if (count === 0) return '';
  return of === 1 ? ' with reservations' : `, ${count} of them with reservations`;
}

/** Nothing is down: `All 12 services answer, Photo archive with reservations.` */
function quietSentence(
  stands: readonly Stand[],
  degraded: readonly Stand[],
  unobserved: readonly Stand[],
): string {
  const answering = stands.length - unobserved.length;
  const unseen =
    unobserved.length === 0
      ? ''
      : `${namesOf(unobserved)} ${unobserved.length === 1 ? 'is' : 'are'} not observed`;
  if (answering === 0) return `${unseen}.`;
  if (stands.length === 1) return `${first(stands)} answers with reservations.`;
  const subject =
    unobserved.length === 0
      ? `All ${answering} services answer`
      : `${answering} ${answering === 1 ? 'service answers' : 'services answer'}`;
  const limited = degraded.length === 0 ? '' : `, ${namesOf(degraded)} with reservations`;
  return `${subject}${limited}${unseen && `; ${unseen}`}.`;
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
