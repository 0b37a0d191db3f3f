/**
 * Sealing, the part that takes long: reads rows and blocks on a connection of its own, and makes of them the blocks that
 * are to take their place. It writes nothing: `sealing-write.ts` takes over what is made here, batch by batch.
 */
import type { Database } from 'better-sqlite3';
import { type Block, type BlockHead, blocksOf, headCrc, type StoredBlock } from './blocks.ts';
import { dayOf } from './days.ts';
import { type FlatRow, rowColumns, rowFrom } from './rows.ts';
import { type Columns, columnsOf, merged, type Row } from './sealed/block.ts';
import { checksumOf } from './sealed/checksum.ts';
import { encodeColumns } from './sealed/codec.ts';
import { encodeSketches, mergedSketches, type Sketches, sketchesOf } from './sealed/sketches.ts';
import { outcomeNumbers } from './stored.ts';
import type { Moved } from './tail.ts';

export interface ChunkJob {
  /** The last row of the tail that is to leave it. */
  readonly throughSeq: number;
  /** Rows of the tail that are gone through at one time. Each time makes a chunk of each service. */
  readonly windowRows: number;
}

/** To be written together: chunks, and how far their services are now. */
export interface ChunkBatch {
  readonly chunks: readonly StoredBlock[];
  readonly moved: readonly Moved[];
}

export interface SealJob {
  /** Days before this one are sealed. */
  readonly beforeDay: number;
}

/** To be written together, as one volume: days in place of what they were made of. */
export interface SealBatch {
  readonly days: readonly SealedDay[];
}

export interface SealedDay {
  readonly block: StoredBlock;
  /** Keys of its chunks. */
  readonly chunks: readonly number[];
  /** Key of the day as it was sealed before; null: it was not. */
  readonly replaces: number | null;
}

/** Rows that are held in memory as values at one time, where no single service has more of them. */
const batchRows = 20_000;
/** What a batch may bring to be written: the daemon stands still while it is. */
const batchServices = 64;
const batchDays = 32;
const batchBytes = 128 * 1_024;

/** Makes chunks of the rows of the tail, of each service and day one. */
export function* chunkTail(
  database: Database,
  { throughSeq, windowRows }: ChunkJob,
): Generator<ChunkBatch, object, void> {
  const { firstSeq, counts, rows } = tailStatements(database);
  for (let from = firstSeq.get() ?? throughSeq; from <= throughSeq; from += windowRows) {
    const window = { from, to: Math.min(from + windowRows - 1, throughSeq) };
    for (const services of groupedBy(counts.all(window), batchRows)) {
      const last = services.at(-1)?.service ?? 0;
      const first = services[0]?.service ?? 0;
      yield* chunksOf(rows.iterate({ ...window, first, last }));
    }
  }
  return {};
}

interface SeqRow extends FlatRow {
  readonly seq: number;
  readonly service: number;
}

interface Leaving {
  lastSeq: number;
  readonly byDay: Map<number, Row[]>;
}

/** `found`: in the order in which they came. */
function* chunksOf(found: Iterable<SeqRow>): Generator<ChunkBatch, void, void> {
  const services = new Map<number, Leaving>();
  for (const row of found) {
    const leaving = services.get(row.service) ?? { lastSeq: 0, byDay: new Map() };
    services.set(row.service, leaving);
    leaving.lastSeq = row.seq;
    const day = dayOf(row.at);
    const rows = leaving.byDay.get(day);
    if (rows) rows.push(rowFrom(row));
    else leaving.byDay.set(day, [rowFrom(row)]);
  }
  const all = [...services];
  for (let from = 0; from < all.length; from += batchServices) {
    const some = all.slice(from, from + batchServices);
    yield {
      chunks: some.flatMap(([service, { byDay }]) =>
        [...byDay].map(([day, rows]) =>
          made({ service, day, columns: columnsOf(rows), sketches: sketchesOf(rows) }),
        ),
      ),
      moved: some.map(([service, { lastSeq }]) => ({ service, seq: lastSeq })),
    };
  }
}

/** Makes of the chunks of each day that is over, and of what was sealed of it before, one sealed day. */
export function* sealDays(
  database: Database,
  { beforeDay }: SealJob,
): Generator<SealBatch, object, void> {
  const due = database.prepare<[number], { service: number; day: number }>(
    'SELECT DISTINCT service, day FROM chunks WHERE day < ? ORDER BY day, service',
  );
  // Of damage the reads of the daemon tell, and `verify`.
  const blocks = blocksOf(database);
  let days: SealedDay[] = [];
  let bytes = 0;
  for (const { service, day } of due.all(beforeDay)) {
    const sealed = sealedFrom(blocks.ofDay(service, day));
    if (!sealed) continue;
    days.push(sealed);
    bytes += sealed.block.bytes.length;
    if (days.length < batchDays && bytes < batchBytes) continue;
    yield { days };
    days = [];
    bytes = 0;
  }
  if (days.length > 0) yield { days };
  return {};
}

/** Null: a part of it is damaged. All parts stay as they are then: nothing of what may yet be mended is thrown away. */
function sealedFrom(blocks: readonly Block[]): SealedDay | null {
  const parts = blocks.flatMap((block) => {
    const [columns, sketches] = [block.columns(), block.sketches()];
    return columns && sketches ? { columns, sketches } : [];
  });
  const [{ service, day } = noBlock] = blocks;
  if (parts.length < blocks.length || parts.length === 0) return null;
  return {
    block: made({
      service,
      day,
      columns: merged(parts.map(({ columns }) => columns)),
      sketches: mergedSketches(parts.map(({ sketches }) => sketches)),
    }),
    chunks: blocks.filter(({ kind }) => kind === 'chunk').map(({ key }) => key),
    replaces: blocks.find(({ kind }) => kind === 'sealed day')?.key ?? null,
  };
}

const noBlock = { service: 0, day: 0 };

interface Content {
  readonly service: number;
  readonly day: number;
  readonly columns: Columns;
  readonly sketches: Sketches;
}

function made({ service, day, columns, sketches }: Content): StoredBlock {
  const sketchBytes = encodeSketches(sketches);
  const columnBytes = encodeColumns(columns);
  const countOf = (outcome: keyof typeof outcomeNumbers): number =>
    columns.outcome.reduce((count, one) => count + (one === outcomeNumbers[outcome] ? 1 : 0), 0);
  const leastFacts = columns.facts.reduce(
    (least, one) => (one > 0 ? Math.min(least, one) : least),
    Number.POSITIVE_INFINITY,
  );
  const head: BlockHead = {
    service,
    day,
    firstAt: columns.at[0] ?? 0,
    lastAt: columns.at.at(-1) ?? 0,
    answered: countOf('answered'),
    limited: countOf('limited'),
    failed: countOf('failed'),
    unproven: countOf('unproven'),
    leastFacts: Number.isFinite(leastFacts) ? leastFacts : null,
    columnsCrc: checksumOf(columnBytes),
  };
  // A copy: what comes from a shared pool of bytes would cross to another thread with the whole of it.
  const bytes = new Uint8Array(sketchBytes.length + columnBytes.length);
  bytes.set(sketchBytes);
  bytes.set(columnBytes, sketchBytes.length);
  return { ...head, crc: headCrc(head, sketchBytes), sketchesBytes: sketchBytes.length, bytes };
}

interface Counted {
  readonly service: number;
  readonly count: number;
}

/** Neighbours together, as long as they have no more rows than that. */
function groupedBy(counts: readonly Counted[], rowsMax: number): Counted[][] {
  const groups: Counted[][] = [];
  let rows = Number.POSITIVE_INFINITY;
  for (const counted of counts) {
    rows += counted.count;
    if (rows > rowsMax) {
      groups.push([]);
      rows = counted.count;
    }
    groups.at(-1)?.push(counted);
  }
  return groups;
}

function tailStatements(database: Database) {
  type Window = { readonly from: number; readonly to: number };
  type Services = { readonly first: number; readonly last: number };
  const ofWindow = `FROM tail WHERE seq BETWEEN :from AND :to
    AND seq > coalesce((SELECT m.seq FROM moved m WHERE m.service = tail.service), 0)`;
  return {
    firstSeq: database.prepare<[], number | null>('SELECT min(seq) FROM tail').pluck(),
    counts: database.prepare<[Window], Counted>(
      `SELECT service, count(*) AS count ${ofWindow} GROUP BY service ORDER BY service`,
    ),
    rows: database.prepare<[Window & Services], SeqRow>(
      `SELECT seq, service, ${rowColumns} ${ofWindow} AND service BETWEEN :first AND :last
       ORDER BY seq`,
    ),
  };
}
