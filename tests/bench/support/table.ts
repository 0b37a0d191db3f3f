/** What a benchmark finds, and how it is shown: figures beside the floor that was measured in the same run. */

export interface Figure {
  readonly median: number;
  /** The least and the most that was measured. */
  readonly low: number;
  readonly high: number;
}

export interface Row {
  readonly what: string;
  /** What was measured of Rollcall, in words: `412 µs`. */
  readonly measured: string;
  /** The same of its floor, in words; null: it is held against the target alone. */
  readonly floor: string | null;
  readonly figure: Figure;
  /** `×`, or a unit. */
  readonly unit: string;
  /** The most that the median may be. */
  readonly target: number;
}

export interface Bench {
  readonly name: string;
  run(): Promise<readonly Row[]>;
}

/** Throws without samples. */
export function figureOf(samples: readonly number[]): Figure {
  const sorted = samples.toSorted((one, other) => one - other);
  const middle = sorted.length >> 1;
  const [low, high, upper, lower] = [
    sorted[0],
    sorted.at(-1),
    sorted[middle],
    sorted.at(-middle - 1),
  ];
  if (low === undefined || high === undefined || upper === undefined || lower === undefined) {
    throw new Error('nothing was measured');
  }
  return { median: (upper + lower) / 2, low, high };
}

export function isMet({ figure, target }: Row): boolean {
  return figure.median <= target;
}

/** A table in Markdown. */
export function tableOf(rows: readonly Row[]): string {
  const head = ['what', 'Rollcall', 'floor', 'median', 'spread', 'target', ''];
  const lines = rows.map((row) => {
    const { figure, unit } = row;
    return [
      row.what,
      row.measured,
      row.floor ?? '',
      said(figure.median, unit),
      `${said(figure.low, unit)} to ${said(figure.high, unit)}`,
      `≤ ${said(row.target, unit)}`,
      isMet(row) ? 'met' : 'MISSED',
    ];
  });
  const widths = head.map((title, column) =>
    Math.max(title.length, ...lines.map((line) => line[column]?.length ?? 0)),
  );
  const drawn = (cells: readonly string[]) =>
    `| ${cells.map((cell, column) => cell.padEnd(widths[column] ?? 0)).join(' | ')} |`;
  const rule = drawn(widths.map((width) => '-'.repeat(width)));
  return [drawn(head), rule, ...lines.map(drawn)].join('\n');
}

/** Three figures are enough, and more than the noise allows. */
export function said(value: number, unit: string): string {
  const text = Number(value.toPrecision(3)).toLocaleString('en-GB', {
    maximumSignificantDigits: 3,
  });
  return unit === '×' ? `${text}×` : `${text} ${unit}`;
}
