/** A numbered course of three services through several days, a piece of which is written at a time. */
import type { ObservationEntry } from '../../../src/record/record.ts';
import { answered, failed, hour, minute, t0 } from './values.ts';

export const courseServices = ['shop', 'nas', 'wiki'] as const;
const pieceCount = 90;
/** So much time passes in a piece. */
export const pieceMs = 15 * hour;

export function pieceNumber(number: number): readonly ObservationEntry[] {
  return Array.from({ length: pieceCount }, (_, place) => {
    const at = t0 + number * pieceMs + Math.floor(place / 3) * 30 * minute + (place % 3);
    const serviceId = courseServices[place % 3] ?? 'shop';
    const facts = { number };
    const observation =
      place % 11 === 5 ? failed(at, { tookUs: place, facts }) : answered(at, { facts });
    return { serviceId, observation };
  });
}
