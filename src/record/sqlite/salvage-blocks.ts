/**
 * Brings the observations of a damaged file over into another one, which is new or an older state of the same record:
 * each of them is in the tail, in a chunk or in a sealed day, and moves that way as time goes by. A block counts only
 * where its checksums hold. Where a day of a service is broken, what the other file has of that day stays.
 */
import Database from 'better-sqlite3';
import { type Block, type BlockKind, blocksOf, type StoredBlock } from './blocks.ts';
import { readable } from './readable.ts';
import { columnsOf } from './row-checksums.ts';
import { put } from './salvage-rows.ts';
import { sealingWrites } from './sealing-write.ts';

/** A day of a service, of which something could not be read; null: nobody knows of which ones. */
export type BrokenDay = { readonly service: number; readonly day: number } | null;

export function salvageObservations(from: Database.Database, to: Database.Database): BrokenDay[] {
  const { days, whole } = daysOf(from);
  const broken: BrokenDay[] = whole ? [] : [null];
  const taken: Block[] = [];
  const place = placer(to);
  to.transaction(() => {
    if (whole) place.forgetAllBut(days);
    for (const listed of days) {
      const { service, day } = listed;
      const found = blocksIn(from, listed);
      if (found.whole) place.forget(service, day);
      else broken.push({ service, day });
      const others = place.rangesOf(service, day);
      const fitting = found.blocks.filter(
        (block) => !others.some((other) => overlap(block, other)),
      );
      fitting.forEach(place.take);
      taken.push(...fitting);
    }
    place.end();
    if (!salvageTail(from, to, { broken, taken })) broken.push(null);
  })();
  return broken;
}

interface Day {
  readonly service: number;
  readonly day: number;
}

interface Found {
  readonly kind: BlockKind;
  readonly key: number;
  readonly service: number;
  readonly day: number;
}

interface DayFound extends Day {
  readonly blocks: readonly Pick<Found, 'kind' | 'key'>[];
}

const tables = { 'sealed day': 'sealed_days', chunk: 'chunks' } as const;

/** Days of which there are blocks. They stand in a table and in its index: what one of them has lost the other may have. */
function daysOf(database: Database.Database): { days: readonly DayFound[]; whole: boolean } {
  const blocks = new Map<string, Found>();
  let whole = true;
  for (const kind of ['sealed day', 'chunk'] as const) {
    const orders = ['service ASC, day ASC', 'service DESC, day DESC', 'key ASC', 'key DESC'];
    const found = orders.flatMap((order) => blocksBy(database, kind, order));
    // By the index, and by the table: each from one end is enough where it comes to the other.
    const listed = (place: number) =>
      found[place]?.whole === true || found[place + 1]?.whole === true;
    if (!listed(0) && !listed(2)) whole = false;
    for (const { rows } of found) for (const row of rows) blocks.set(`${kind} ${row.key}`, row);
  }
  const days = new Map<string, Day & { blocks: Found[] }>();
  const inOrder = [...blocks.values()].sort((one, other) => one.key - other.key);
  for (const block of inOrder) {
    const name = `${block.service} ${block.day}`;
    const day = days.get(name) ?? { service: block.service, day: block.day, blocks: [] };
    day.blocks.push(block);
    days.set(name, day);
  }
  return { days: [...days.values()], whole };
}

/** `whole`: they came to an end. */
function blocksBy(database: Database.Database, kind: BlockKind, order: string) {
  const rows: Found[] = [];
  const whole = attempt(() => {
    const select = database.prepare<[], Omit<Found, 'kind'>>(
      `SELECT key, service, day FROM ${tables[kind]} ORDER BY ${order}`,
    );
    for (const row of select.iterate()) rows.push({ ...row, kind });
    return true;
  });
  return { rows, whole: whole === true };
}

/** `whole`: each block of the day is as it was written. */
function blocksIn(database: Database.Database, { service, day, blocks }: DayFound) {
  const read = attempt(() => blocksOf(database));
  const sound = blocks.flatMap(({ kind, key }) => {
    const block = attempt(() => read?.byKey(kind, key) ?? null);
    const fits = block?.service === service && block.day === day;
    return block && fits && isSound(block) ? [block] : [];
  });
  return { blocks: sound, whole: sound.length === blocks.length };
}

function isSound(block: Block): boolean {
  return block.sketches() !== null && block.columns() !== null;
}

interface Extent {
  readonly firstAt: number;
  readonly lastAt: number;
}

function overlap(one: Extent, other: Extent): boolean {
  return one.firstAt <= other.lastAt && other.firstAt <= one.lastAt;
}

/** Sealed days that are written together: they share a volume then, which fills the pages of the file. */
const daysAtOnce = 32;

function placer(to: Database.Database) {
  const writes = sealingWrites(to);
  const ranges = ['sealed_days', 'chunks'].map((table) =>
    to.prepare<[number, number], Extent>(
      `SELECT first_at_ms AS firstAt, last_at_ms AS lastAt FROM ${table} WHERE service = ? AND day = ?`,
    ),
  );
  const sealed = to
    .prepare<[number, number], number>('SELECT key FROM sealed_days WHERE service = ? AND day = ?')
    .pluck();
  const forgetChunks = to.prepare<[number, number]>(
    'DELETE FROM chunks WHERE service = ? AND day = ?',
  );
  const forget = (service: number, day: number): void => {
    sealed.all(service, day).forEach(writes.forgetDay);
    forgetChunks.run(service, day);
  };
  let days: StoredBlock[] = [];
  const end = (): void => {
    if (days.length > 0) {
      writes.days({ days: days.map((block) => ({ block, chunks: [], replaces: null })) });
    }
    days = [];
  };
  return {
    forget,
    forgetAllBut: (known: readonly Day[]) => {
      const names = new Set(known.map(({ service, day }) => `${service} ${day}`));
      for (const { service, day } of daysOf(to).days) {
        if (!names.has(`${service} ${day}`)) forget(service, day);
      }
    },
    rangesOf: (service: number, day: number) => ranges.flatMap((range) => range.all(service, day)),
    take: ({ kind, stored }: Block): void => {
      if (kind === 'chunk') writes.chunks({ chunks: [stored()], moved: [] });
      else days.push(stored());
      if (days.length >= daysAtOnce) end();
    },
    /** Writes what was taken last. */
    end,
  };
}

interface TailGiven {
  readonly broken: readonly BrokenDay[];
  readonly taken: readonly Block[];
}

/**
 * The rows, and how far they have become blocks. Of a service that has a broken day, what the other file still has as rows
 * stays as rows; those that came over in a sound block go. Gives whether all rows could be read.
 */
function salvageTail(
  from: Database.Database,
  to: Database.Database,
  { broken, taken }: TailGiven,
): boolean {
  const doubtful = new Set(broken.map((day) => day?.service ?? 'any'));
  const isDoubtful = (service: number) => doubtful.has('any') || doubtful.has(service);
  const columns = columnsOf(to, 'moved');
  const [servicePlace, seqPlace] = [columns.indexOf('service'), columns.indexOf('seq')];
  const moved = readable(from, 'moved');
  const movedRows = [...moved.rows];
  const movedSeqs = new Map(
    movedRows.map((row) => [Number(row[servicePlace]), Number(row[seqPlace])]),
  );
  put(
    to,
    'moved',
    movedRows.filter((row) => !isDoubtful(Number(row[servicePlace]))),
  );
  const tail = readable(from, 'tail');
  put(to, 'tail', tail.rows);

  const deleteTwice = to.prepare<[number, number, number, number]>(
    'DELETE FROM tail WHERE service = ? AND at_ms BETWEEN ? AND ? AND seq <= ?',
  );
  for (const { service, firstAt, lastAt } of taken) {
    if (!isDoubtful(service)) continue;
    deleteTwice.run(service, firstAt, lastAt, movedSeqs.get(service) ?? Number.MAX_SAFE_INTEGER);
  }
  to.exec(`DELETE FROM tail WHERE service NOT IN (SELECT key FROM services)
    OR seq <= (SELECT m.seq FROM moved m WHERE m.service = tail.service)`);
  for (const table of ['moved', 'chunks', 'sealed_days']) {
    to.exec(`DELETE FROM ${table} WHERE service NOT IN (SELECT key FROM services)`);
  }
  return tail.whole() && moved.whole();
}

/** Null where the file does not let it. */
function attempt<Value>(act: () => Value): Value | null {
  try {
    return act();
  } catch (thrown) {
    if (!(thrown instanceof Database.SqliteError)) throw thrown;
    return null;
  }
}
