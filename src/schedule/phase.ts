/**
 * Due times. Each service has a fixed phase made of its id, on a grid anchored at the epoch of the wall clock:
 * starts are spread over the interval, and stay where they are over restarts.
 */
import { fractionOf } from '../base/ids.ts';

const momentMsMax = 1_000;

/** Where on the grid of its interval a service stands. Takes a hash: to be kept. */
export function phaseOf(id: string, everyMs: number): number {
  return Math.floor(fractionOf(id) * everyMs);
}

/** The first grid instant at least a moment after `wallMs`: never twice at nearly the same time. */
export function nextDue(phaseMs: number, everyMs: number, wallMs: number): number {
  const earliest = wallMs + Math.min(everyMs / 10, momentMsMax);
  return Math.ceil((earliest - phaseMs) / everyMs) * everyMs + phaseMs;
}

/** How long after the start a service is asked for the first time: spread, and early. */
export function firstDelayMs(id: string, everyMs: number, spreadMs: number): number {
  return Math.floor(fractionOf(`first ${id}`) * Math.min(everyMs, spreadMs));
}
