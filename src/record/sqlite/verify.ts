/**
 * Looks through the whole file for what is not as it was written: its structure and its indexes, references between rows,
 * the checksum of every row and every block. What is left unseen holds no value: free pages, and the room between rows.
 */
import type { Database } from 'better-sqlite3';
import { instantText } from '../../base/instants.ts';
import { namesInSentenceCountMax } from '../../base/limits.ts';
import { counted, listed } from '../../base/words.ts';
import { type Block, blocksOf } from './blocks.ts';
import { dayMs } from './days.ts';
import { type CheckedTable, checkedTables, intact } from './row-checksums.ts';
import { differencesOfShape } from './shape.ts';

export interface Verified {
  /** Sentences for people, the gravest first. */
  readonly faults: readonly string[];
  readonly sealedDaysCount: number;
  readonly observationsCount: number;
}

/** Throws what the engine throws where it comes to no end: that is a fault of its own. */
export function* verify(database: Database): Generator<never, Verified, void> {
  // One view of the file throughout, however much is written meanwhile.
  return database.transaction(() => {
    const structure = structureFaults(database);
    // Where the structure is broken, reading on may give the same damage a hundred names.
    if (structure.length > 0)
      return { faults: structure, sealedDaysCount: 0, observationsCount: 0 };
    const blocks = lookThroughBlocks(database);
    return {
      faults: [...rowFaults(database), ...blocks.faults, ...referenceFaults(database)],
      sealedDaysCount: blocks.sealedDaysCount,
      observationsCount: blocks.observationsCount + tailCount(database),
    };
  })();
}

/** Complaints of SQLite's own check that are listed (sqlite.org/pragma.html#pragma_integrity_check). */
const complaintsCountMax = 20;

function structureFaults(database: Database): string[] {
  const shape = differencesOfShape(database);
  if (shape !== null) return [`Its tables are not those of a record: ${shape}.`];
  const complaints = database
    .prepare<[], string>(`PRAGMA integrity_check(${complaintsCountMax})`)
    .pluck()
    .all()
    .filter((complaint) => complaint !== 'ok');
  const [first] = complaints;
  if (first === undefined) return [];
  const more = complaints.length > 1 ? ` (and ${complaints.length - 1} more)` : '';
  return [`Its structure is broken: ${first.replace(/\s+/g, ' ')}${more}.`];
}

function rowFaults(database: Database): string[] {
  return checkedTables.flatMap((table) => {
    const spoilt = spoiltCount(database, table);
    return spoilt === 0
      ? []
      : [`${counted(spoilt, 'row')} of the table ${table} changed since written.`];
  });
}

/** `newestCountMax`: looks at no more rows than so many, from the end of the table. */
export function spoiltCount(database: Database, table: CheckedTable, newestCountMax = -1): number {
  const order = table === 'tail' ? 'ORDER BY seq DESC' : '';
  const count = database
    .prepare<[number], number>(
      `SELECT count(*) FROM (SELECT * FROM ${table} ${order} LIMIT ?) WHERE NOT ${intact(database, table)}`,
    )
    .pluck();
  return count.get(newestCountMax) ?? 0;
}

function lookThroughBlocks(database: Database): Verified {
  const nameOf = database
    .prepare<[number], string>('SELECT id FROM services WHERE key = ?')
    .pluck();
  const broken: string[] = [];
  let sealedDaysCount = 0;
  let observationsCount = 0;
  for (const block of blocksOf(database).every()) {
    const columns = block.columns();
    if (!columns) broken.push(`${nameOf.get(block.service) ?? 'a service'} on ${dayText(block)}`);
    if (block.kind === 'sealed day') sealedDaysCount++;
    observationsCount += columns?.count ?? 0;
  }
  const faults =
    broken.length === 0
      ? []
      : [
          `${counted(broken.length, 'block')} of observations changed since written: ${listed(broken, namesInSentenceCountMax)}.`,
        ];
  return { faults, sealedDaysCount, observationsCount };
}

function dayText({ day }: Pick<Block, 'day'>): string {
  return Number.isSafeInteger(day * dayMs) ? instantText(day * dayMs).slice(0, 10) : 'no day';
}

function tailCount(database: Database): number {
  const count = database.prepare<[], number>(
    `SELECT count(*) FROM tail t LEFT JOIN moved m ON m.service = t.service
     WHERE t.seq > coalesce(m.seq, 0)`,
  );
  return count.pluck().get() ?? 0;
}

function referenceFaults(database: Database): string[] {
  const missing = database
    .prepare<[], string>('SELECT DISTINCT "table" FROM pragma_foreign_key_check')
    .pluck()
    .all();
  return missing.map((table) => `Rows of the table ${table} belong to what is not there.`);
}
