/** What "at most so many" means: in a list, and to SQLite. */

/** The last `countMax` of a list in order of time. */
export function newestOf<Value>(values: readonly Value[], countMax: number): readonly Value[] {
  return values.length > countMax ? values.slice(values.length - Math.max(countMax, 0)) : values;
}

/** For LIMIT, which takes integers, and a negative one for none. */
export function limitOf(countMax: number): number {
  return Number.isFinite(countMax) ? Math.max(countMax, 0) : -1;
}
