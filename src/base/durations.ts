/** Durations as people write them: `500ms 30s 5m 2h 14d`; and as people read them. */

const unitsMs = { ms: 1, s: 1_000, m: 60_000, h: 3_600_000, d: 86_400_000 } as const;
type Unit = keyof typeof unitsMs;

/** Milliseconds of `30s`, `1.5h` …; null when the text is no duration. The unit is never optional. */
export function parseDurationMs(text: string): number | null {
  const match = /^(\d{1,9}(?:\.\d{1,3})?)(ms|s|m|h|d)$/.exec(text.trim());
  if (!match) return null;
  return Math.round(Number(match[1]) * unitsMs[match[2] as Unit]);
}

/** The shortest exact way to write it: 90 000 → `90s`, 7 200 000 → `2h`. */
export function formatDuration(durationMs: number): string {
  for (const unit of ['d', 'h', 'm', 's'] as const) {
    if (durationMs >= unitsMs[unit] && durationMs % unitsMs[unit] === 0) {
      return `${durationMs / unitsMs[unit]}${unit}`;
    }
  }
  return `${durationMs}ms`;
}

/** For sentences: `40 s`, `14 min`, `3 h 5 min`, `2 days 4 h`. Rounds to the second part. */
export function sayDuration(durationMs: number): string {
  const seconds = Math.round(durationMs / 1_000);
  if (seconds < 1) return 'less than a second';
  if (seconds < 60) return `${seconds} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 24) return joined(`${hours} h`, minutes % 60, 'min');
  const wholeHours = Math.round(minutes / 60);
  const days = Math.floor(wholeHours / 24);
  return joined(days === 1 ? '1 day' : `${days} days`, wholeHours % 24, 'h');
}

function joined(first: string, rest: number, unit: string): string {
  return rest === 0 ? first : `${first} ${rest} ${unit}`;
}
