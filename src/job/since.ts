/** From when on the due times of a job count, as it is kept between two lives of the daemon. */
import type { JobSince } from '../base/jobs.ts';

/**
 * @param kept The words that were kept; null: none.
 * Another schedule counts from now on: what the old one had made due is not asked for any more.
 */
export function sinceNow(given: {
  readonly kept: string | null;
  readonly fingerprint: string;
  readonly now: number;
}): JobSince {
  const { kept, fingerprint, now } = given;
  const known = kept === null ? null : parsed(kept);
  if (known === null) return { fingerprint, agreedAt: now, lookingAt: now };
  return known.fingerprint === fingerprint ? known : { ...known, fingerprint, agreedAt: now };
}

export function sinceText({ fingerprint, agreedAt, lookingAt }: JobSince): string {
  return JSON.stringify({ fingerprint, agreedAt, lookingAt });
}

/** Null: it cannot be read. */
function parsed(words: string): JobSince | null {
  const value = jsonOf(words);
  if (typeof value !== 'object' || value === null) return null;
  const { fingerprint, agreedAt, lookingAt } = value as Partial<Record<keyof JobSince, unknown>>;
  if (typeof fingerprint !== 'string') return null;
  if (typeof agreedAt !== 'number' || typeof lookingAt !== 'number') return null;
  return { fingerprint, agreedAt, lookingAt };
}

function jsonOf(words: string): unknown {
  try {
    return JSON.parse(words);
  } catch {
    return null;
  }
}
