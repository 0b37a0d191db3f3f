/** The certificate that an answer showed, read back from its facts: see probe/certificate.ts, which puts them there. */
import { parseInstant } from './instants.ts';
import type { Facts } from './values.ts';

/** Of the certificate that ends first in its chain. */
export interface CertificateSeen {
  readonly endsAt: number;
  /** Of the end certificate; empty: it does not say. */
  readonly issuer: string;
  /** Nearer to its end than its own lifetime, or the owner, wants it. */
  readonly isNear: boolean;
}

/** Null: the answer showed none, or none with an end. */
export function certificateIn(facts: Facts): CertificateSeen | null {
  const ends = facts['certificateEndsAt'];
  const endsAt = typeof ends === 'string' ? parseInstant(ends) : null;
  if (endsAt === null) return null;
  const issuer = facts['certificateIssuer'];
  return {
    endsAt,
    issuer: typeof issuer === 'string' ? issuer : '',
    isNear: facts['certificateWarn'] === true,
  };
}
