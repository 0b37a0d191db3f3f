/** Whether and how long a service is under planned work, by windows that may overlap. Pure: instants come in as values. */
import type { PlannedWindow } from './values.ts';

export interface PlannedStretch {
  readonly from: number;
  readonly to: number;
}

export function isOf({ serviceIds }: PlannedWindow, serviceId: string): boolean {
  return serviceIds === null || serviceIds.includes(serviceId);
}

/** Windows in the order of their beginning, as the functions below want them. */
export function inOrderOfTime(windows: readonly PlannedWindow[]): readonly PlannedWindow[] {
  return [...windows].sort((one, other) => one.from - other.from || (one.id < other.id ? -1 : 1));
}

/**
 * The planned time of a service around this instant: windows that overlap or follow each other without a gap count as
 * one. Null: it is not planned then. `windows` in order.
 */
export function plannedAround(
  windows: readonly PlannedWindow[],
  serviceId: string,
  at: number,
): PlannedStretch | null {
  let stretch: PlannedStretch | null = null;
  for (const window of windows) {
    if (window.to <= window.from || !isOf(window, serviceId)) continue;
    if (stretch !== null && window.from <= stretch.to) {
      stretch = { from: stretch.from, to: Math.max(stretch.to, window.to) };
    } else {
      // A gap: what came before it holds the instant, or is over.
      if (holds(stretch, at)) return stretch;
      stretch = { from: window.from, to: window.to };
    }
  }
  return holds(stretch, at) ? stretch : null;
}

function holds(stretch: PlannedStretch | null, at: number): boolean {
  return stretch !== null && stretch.from <= at && at < stretch.to;
}
