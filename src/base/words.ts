/** Small grammar for sentences. */

/** `A`, `A and B`, `A, B and C`, `A, B and 7 more`: at most `countMax` names, the rest counted. Empty for none. */
export function listed(names: readonly string[], countMax: number): string {
  const shown = names.slice(0, countMax);
  const restCount = names.length - shown.length;
  const parts = restCount > 0 ? [...shown, `${restCount} more`] : shown;
  const last = parts.at(-1) ?? '';
  return parts.length < 2 ? last : `${parts.slice(0, -1).join(', ')} and ${last}`;
}

/** `2 services and one job`; of what there is none nothing is said, unless there is nothing. */
export function sayWatched(servicesCount: number, jobsCount: number): string {
  if (jobsCount === 0) return counted(servicesCount, 'service');
  const jobs = counted(jobsCount, 'job');
  return servicesCount === 0 ? jobs : `${counted(servicesCount, 'service')} and ${jobs}`;
}

/** `one service`, `2 services`. */
export function counted(count: number, one: string, many: string = `${one}s`): string {
  return count === 1 ? `one ${one}` : `${count} ${many}`;
}
