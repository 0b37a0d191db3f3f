/**
 * Reads what can be read of a table in a damaged file: from both ends, past what is in between; and of that only rows
 * which are as they were written. Nothing is invented: a row in doubt is left out.
 */
import Database from 'better-sqlite3';
import { type CheckedTable, columnsOf, intact } from './row-checksums.ts';

export interface Readable {
  /** Each row once; values in the order of the table's columns. */
  readonly rows: Iterable<readonly unknown[]>;
  /** When all rows were taken: whether that was all of them. */
  whole(): boolean;
}

export function readable(database: Database.Database, table: CheckedTable): Readable {
  let whole = true;
  const spoil = (): void => {
    whole = false;
  };
  return { rows: rowsOf({ database, table, spoil }), whole: () => whole };
}

interface Given {
  readonly database: Database.Database;
  readonly table: CheckedTable;
  /** Something was left out. */
  readonly spoil: () => void;
}

function* rowsOf(given: Given): Generator<readonly unknown[], void, void> {
  const select = attempt(given.spoil, () => selectors(given));
  if (!select) return;
  const reached = yield* walked(given, select.forward, null);
  // Something lies in between that cannot be read: from the other end up to where it began.
  if (reached !== null) yield* walked(given, select.backward, reached);
}

/** Up to this row, whose key is given. Returns null where the table came to its end; else the last row that was read. */
function* walked(
  { spoil }: Given,
  walk: () => Generator<Row, void, void>,
  until: string | null,
): Generator<readonly unknown[], string | null, void> {
  let last = '';
  for (const row of steps(spoil, walk)) {
    if (row === 'end' || row.key === until) return null;
    last = row.key;
    if (row.sound) yield row.values;
    else spoil();
  }
  return last;
}

interface Row {
  readonly key: string;
  readonly values: readonly unknown[];
  readonly sound: boolean;
}

function selectors({ database, table }: Given) {
  const columns = columnsOf(database, table);
  const keys = database
    .prepare<[string], string>('SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk')
    .pluck()
    .all(table);
  const places = keys.map((key) => columns.indexOf(key));
  const sound = intact(database, table);
  const ordered = (order: 'ASC' | 'DESC') =>
    function* (): Generator<Row, void, void> {
      const by = keys.map((key) => `${key} ${order}`).join(', ');
      const select = database.prepare<[], unknown[]>(
        `SELECT *, ${sound} FROM ${table} NOT INDEXED ORDER BY ${by}`,
      );
      for (const all of select.raw().iterate()) {
        const key = JSON.stringify(places.map((place) => all[place]));
        yield { key, values: all.slice(0, -1), sound: all.at(-1) === 1 };
      }
    };
  return { forward: ordered('ASC'), backward: ordered('DESC') };
}

/** Rows as long as they can be read; `end` behind the last one where that was all. */
function* steps(
  spoil: () => void,
  walk: () => Generator<Row, void, void>,
): Generator<Row | 'end', void, void> {
  const rows = walk();
  try {
    for (;;) {
      const step = attempt(spoil, () => rows.next());
      if (!step) return;
      if (step.done) return yield 'end';
      yield step.value;
    }
  } finally {
    rows.return();
  }
}

/** Null where the file does not let it. */
function attempt<Value>(spoil: () => void, act: () => Value): Value | null {
  try {
    return act();
  } catch (thrown) {
    if (!(thrown instanceof Database.SqliteError)) throw thrown;
    spoil();
    return null;
  }
}
