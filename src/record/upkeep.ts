/** The part of the Record port that is housework: what is done with the file, beside what is in it. */

/** What a check of the whole record found. */
export interface Soundness {
  /** Sentences for people, the gravest first; empty: it is sound. */
  readonly faults: readonly string[];
  readonly sealedDaysCount: number;
  readonly observationsCount: number;
  readonly tookMs: number;
}

/**
 * The housework of an engine. Each call can be made at any time, again after a failure, and while the record is in use;
 * what takes long happens beside the daemon. Rejects with a RollcallError where the disk or the file does not let it.
 */
export interface Upkeep {
  /** Brings every UTC day that ended before `now` less the delay of sealing into its final shape. */
  seal(now: number): Promise<{ readonly sealedDaysCount: number }>;
  /** Forgets sealed days that ended at or before this instant; spans, outages and what belongs to them stay. */
  prune(before: number): Promise<{ readonly prunedDaysCount: number }>;
  /** The whole file and every checksum. A damaged record is set aside and replaced: see `RecordHealth.damage`. */
  verify(): Promise<Soundness>;
  /** A copy of the record as it is now, checked by opening it; the file appears under its name only when it is whole. */
  backup(path: string): Promise<{ readonly sizeBytes: number }>;
}
