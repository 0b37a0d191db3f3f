/** The manners that database servers are owed: a visit takes a connection, and a refused one a line in the log. */
import type { Manners } from './declaration.ts';

/** Factors: common practice, no source. A block lasts until somebody lifts it; used-up connections come back sooner. */
export const databaseManners: Manners = {
  minGapMs: 1_000,
  slower: { 'address-blocked': 8, 'sign-in-refused': 4, 'too-many-connections': 2 },
};
