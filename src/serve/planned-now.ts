/** The planned windows around now, as all who show them show the same ones. */
import { instantText } from '../base/instants.ts';
import {
  nameCharsMax,
  plannedOfServiceCountMax,
  plannedShownCountMax,
  plannedShownMs,
} from '../base/limits.ts';
import { isOf } from '../base/planned-time.ts';
import { cleanText } from '../base/text.ts';
import type { PlannedWindow } from '../base/values.ts';
import type { Board } from './board.ts';
import type { PlannedBody } from './planned-schemas.ts';

export interface PlannedNow {
  readonly running: readonly PlannedWindow[];
  /** In the order of time. */
  readonly toCome: readonly PlannedWindow[];
  /** The last first. */
  readonly past: readonly PlannedWindow[];
}

export async function plannedNow({ planned, clock }: Board): Promise<PlannedNow> {
  const now = clock.wallMs();
  const range = { from: now - plannedShownMs, to: now + plannedShownMs };
  const windows = (await planned?.between(range)) ?? [];
  return {
    running: windows.filter(({ from, to }) => from <= now && now < to),
    toCome: windows.filter(({ from }) => from > now).slice(0, plannedShownCountMax),
    past: windows
      .filter(({ to }) => to <= now)
      .reverse()
      .slice(0, plannedShownCountMax),
  };
}

export function plannedBody({ running, toCome, past }: PlannedNow): PlannedBody {
  return {
    running: running.map(windowBody),
    toCome: toCome.map(windowBody),
    past: past.map(windowBody),
  };
}

function windowBody(window: PlannedWindow): PlannedBody['running'][number] {
  const { id, name, why, from, to, serviceIds, origin } = window;
  return {
    id,
    name,
    why,
    from: instantText(from),
    to: instantText(to),
    services: serviceIds && [...serviceIds],
    origin,
  };
}

/** What runs, and what comes next: `Sunday updates: 29 Nov, 04:00 to 29 Nov, 04:45.` */
export async function plannedSentences(
  board: Board,
  serviceId: string,
  now: number,
): Promise<readonly string[]> {
  const range = { from: now, to: now + plannedShownMs };
  const windows = (await board.planned?.between(range)) ?? [];
  const moment = (at: number) => board.zone.moment(at, now).text;
  return windows
    .filter((window) => isOf(window, serviceId))
    .slice(0, plannedOfServiceCountMax)
    .map(
      ({ name, from, to }) => `${cleanText(name, nameCharsMax)}: ${moment(from)} to ${moment(to)}.`,
    );
}
