/**
 * How each service stands, worked out once for all who ask until something may have changed. Of a service that stands as it
 * did, it is then still the same thing, so that what is made of it can be kept with it.
 */
import type { Standing } from '../base/standing.ts';
import type { BoardOptions } from './board.ts';

interface Known {
  revision: number;
  standing: Standing;
}

export function keptStandings({
  standingOf,
  revision,
}: Pick<BoardOptions, 'standingOf' | 'revision'>): BoardOptions['standingOf'] {
  const all = new Map<string, Known>();
  return (serviceId) => {
    const now = revision();
    const known = all.get(serviceId);
    if (known?.revision === now) return known.standing;
    const standing = standingOf(serviceId);
    if (!known) {
      all.set(serviceId, { revision: now, standing });
      return standing;
    }
    known.revision = now;
    if (!isSame(known.standing, standing)) known.standing = standing;
    return known.standing;
  };
}

/** Observations and outages are never changed in place. */
function isSame(one: Standing, other: Standing): boolean {
  return fields.every((field) => one[field] === other[field]);
}

/** All of them: the type sees to it that none is forgotten. */
const fields = Object.keys({
  state: true,
  since: true,
  suspect: true,
  unsteady: true,
  causeId: true,
  hiddenBy: true,
  outage: true,
  last: true,
  pacedMs: true,
} satisfies { readonly [field in keyof Standing]: true }) as readonly (keyof Standing)[];
