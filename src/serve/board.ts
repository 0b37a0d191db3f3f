/** What the board knows: the services, how each stands now, the record behind them, and what the house says of itself. */
import type { Clock } from '../base/clock.ts';
import type { Happenings } from '../base/happenings.ts';
import type { Lateness } from '../base/lateness.ts';
import { nameCharsMax } from '../base/limits.ts';
import type { Log } from '../base/log.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { PlannedWindow, ServiceCard } from '../base/values.ts';
import type { Record as Memoir, Range } from '../record/record.ts';
import type { TellState } from '../tell/state.ts';
import type { Asking } from '../uptime/missed.ts';
import type { AccessOptions } from './access.ts';
import type { Acts } from './acts.ts';
import type { Figures } from './figures.ts';
import { figuresOf } from './figures.ts';
import type { JobsSource } from './jobs-source.ts';
import { keptStandings } from './standings.ts';
import type { Zone } from './zone.ts';
import { zoneOf } from './zone.ts';

/** What the daemon says of itself. */
export interface SelfReport {
  readonly startedAt: number;
  /** Sentences for the owner, as "The configuration was not read again: …". Empty: nothing is wrong. */
  readonly troubles: readonly string[];
  /** Whether services are asked when they are due. */
  readonly lateness: () => Lateness;
  /** How the call goes by which others notice when this daemon falls silent; null: there is none. */
  readonly pulse?: PulseReport | null;
}

interface PulseReport {
  /** When it was last taken. */
  readonly takenAt: number | null;
  /** What came of the last one, where it was not. */
  readonly trouble: string | null;
  /** Nobody is called, because something is wrong here. */
  readonly isSilent: boolean;
}

/** Planned work as the house minds it. */
export interface PlannedSource {
  /** The planned time of a service around this instant; null: it is in none. */
  around(serviceId: string, at: number): Range | null;
  /** Those that run now. */
  running(): readonly PlannedWindow[];
  /** That touch the range, in order: those on record, and those to come. */
  between(range: Range): Promise<readonly PlannedWindow[]>;
  /** Both reject with a RollcallError `usage` where it cannot be done. */
  plan(asked: {
    readonly why: string | null;
    readonly from: number;
    readonly to: number;
    /** Null: every service. */
    readonly serviceIds: readonly string[] | null;
  }): Promise<PlannedWindow>;
  end(id: string): Promise<readonly PlannedWindow[]>;
}

export interface BoardOptions {
  readonly record: Memoir;
  /** In the order in which they are shown. */
  readonly cards: readonly ServiceCard[];
  readonly standingOf: (serviceId: string) => Standing;
  /** Another number once a standing may be another than before, at the latest when that is heard of. */
  readonly revision: () => number;
  /** How a service is asked; from this follows how short an outage may be and still be seen. */
  readonly askingOf: (serviceId: string) => Asking;
  readonly board: {
    readonly title: string;
    readonly timezone: string;
    readonly listen: { readonly host: string; readonly port: number };
    /** Sub-path behind a proxy, with a slash at either end; by default `/`. */
    readonly base?: string;
  };
  readonly clock: Clock;
  readonly log: Log;
  readonly version: string;
  readonly self: () => SelfReport;
  readonly telling: () => TellState;
  /** Without it there are no jobs. */
  readonly jobs?: JobsSource;
  /** Without it nothing is planned. */
  readonly planned?: PlannedSource;
  /** What happens, as it happens; without it nothing is live. */
  readonly listen?: Happenings['listen'];
  /** Who may read and act; without it everybody reads and nobody acts. */
  readonly access?: AccessOptions;
  /** What who is signed in may let the house do. */
  readonly acts?: Acts;
  /** Addresses of proxies whose word is taken for who asks, how, and by which name. */
  readonly proxies?: readonly string[];
  /** Names that a request may ask for beside the address and this machine's own. */
  readonly hostnames?: readonly string[];
  /** Folder with `style.css` and, where it was built, `client.js`; must end in a slash. */
  readonly assets?: URL;
}

export interface Board extends BoardOptions {
  readonly zone: Zone;
  /** Before every path on the board: `/`, or as `/rollcall/`. */
  readonly base: string;
  readonly figures: Figures;
  /** When the planned time in which a service is now is over; null: it is in none. */
  plannedUntil(serviceId: string): number | null;
  cardOf(serviceId: string): ServiceCard | undefined;
  /** The given name, cleaned; the id of a service that is no longer on the roll. */
  nameOf(serviceId: string): string;
}

export function boardOf(given: BoardOptions): Board {
  const options = { ...given, standingOf: keptStandings(given) };
  const byId = new Map(options.cards.map((card) => [card.id, card]));
  const names = new Map(options.cards.map(({ id, name }) => [id, cleanText(name, nameCharsMax)]));
  return {
    ...options,
    zone: zoneOf(options.board.timezone),
    base: options.board.base ?? '/',
    figures: figuresOf(options),
    plannedUntil: (serviceId) =>
      options.planned?.around(serviceId, options.clock.wallMs())?.to ?? null,
    cardOf: (serviceId) => byId.get(serviceId),
    nameOf: (serviceId) => names.get(serviceId) ?? serviceId,
  };
}
