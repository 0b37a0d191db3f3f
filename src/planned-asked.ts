/** What may be asked of planned time, and what is wrong with it, for people. Pure. */
import { plannedAheadMsMax, plannedCountMax, plannedMsMax, plannedMsMin } from './base/limits.ts';
import type { PlannedWindow } from './base/values.ts';

/** What somebody declares. */
export interface PlannedAsked {
  readonly why: string | null;
  readonly from: number;
  readonly to: number;
  readonly serviceIds: readonly string[] | null;
}

/** Null: nothing is wrong. `windows`: those that are known. */
export function planComplaint(
  { from, to }: PlannedAsked,
  windows: readonly PlannedWindow[],
  now: number,
): string | null {
  if (to - from < plannedMsMin) return 'A planned window lasts a minute at least.';
  if (to - from > plannedMsMax) return 'A planned window lasts seven days at most.';
  if (from > now + plannedAheadMsMax) return 'That is more than a year ahead.';
  const declared = windows.filter((one) => one.origin === 'declared' && one.to > now);
  if (declared.length < plannedCountMax) return null;
  return `At most ${plannedCountMax} windows can be declared at one time.`;
}

/** `chosen`: what is to be ended or taken back. */
export function endComplaint(chosen: readonly PlannedWindow[], now: number): string | null {
  if (chosen.length === 0) return 'No planned window runs now.';
  const configured = chosen.find(({ from, origin }) => from > now && origin !== 'declared');
  if (!configured) return null;
  return `"${configured.name}" is still to come, and stands in the configuration: change it there.`;
}

/** As the record keeps them. */
export function idsIn(words: string | null): readonly string[] {
  const ids: unknown = words === null ? [] : JSON.parse(words);
  return Array.isArray(ids) ? ids.filter((id) => typeof id === 'string') : [];
}
