/** The planned windows around now, as all who show them show the same ones. */
import { instantText } from '../base/instants.ts';
import { plannedShownCountMax, plannedShownMs } from '../base/limits.ts';
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
