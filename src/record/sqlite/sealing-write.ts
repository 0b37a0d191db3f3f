/** Sealing, the part that writes. Always within a transaction, and little at a time: the daemon stands still meanwhile. */
import type { Database, RunResult } from 'better-sqlite3';
import type { StoredBlock } from './blocks.ts';
import type { ChunkBatch, SealBatch } from './sealing-jobs.ts';
import { bound, dayKeysOf, type Location, pieceKeysOf, volumeAfter, volumeOf } from './volumes.ts';

export interface SealingWrites {
  /** These rows are in chunks from now on, and no longer in the tail, where they only wait for `clear`. */
  chunks(batch: ChunkBatch): void;
  days(batch: SealBatch): void;
  /** Deletes the rows from `from` to `to` that are in chunks. */
  clear(from: number, to: number): void;
  /**
   * Deletes all rows of the tail: to be done only where all of them are in chunks. Costs next to nothing, where `clear`
   * writes each page before it gives it free.
   */
  clearAll(): void;
  forgetDay(key: number): void;
  /** Deletes what the service told of itself under lower numbers than this one. */
  forgetFacts(service: number, least: number): void;
}

export function sealingWrites(database: Database): SealingWrites {
  const { move, deleteChunk, clear, clearAll, forgetFacts } = statements(database);
  const addChunk = chunkAdder(database);
  const { addDays, forgetDay } = dayEditor(database);
  return {
    chunks: ({ chunks, moved }) => {
      chunks.forEach(addChunk);
      for (const { service, seq } of moved) changed(move.run(seq), `the last row of ${service}`);
    },
    days: ({ days }) => {
      for (const { chunks, replaces } of days) {
        if (replaces !== null) forgetDay(replaces);
        for (const key of chunks) changed(deleteChunk.run(key), `chunk ${key}`);
      }
      addDays(days.map(({ block }) => block));
    },
    clear: (from, to) => void clear.run(from, to),
    clearAll: () => void clearAll.run(),
    forgetDay,
    forgetFacts: (service, least) => void forgetFacts.run(service, least),
  };
}

/** What was made of something that is not there any more must not be written: it would be there twice. */
function changed({ changes }: RunResult, what: string): void {
  if (changes !== 1) throw new Error(`Nothing can be made of ${what}: it is gone.`);
}

function statements(database: Database) {
  const columns = `service, seq, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us,
    speak_us, answer_us, reason, detail, hint`;
  return {
    move: database.prepare<[number]>(
      `INSERT OR REPLACE INTO moved (${columns}) SELECT ${columns} FROM tail WHERE seq = ?`,
    ),
    deleteChunk: database.prepare<[number]>('DELETE FROM chunks WHERE key = ?'),
    clear: database.prepare<[number, number]>(
      `DELETE FROM tail WHERE seq BETWEEN ? AND ?
         AND seq <= (SELECT m.seq FROM moved m WHERE m.service = tail.service)`,
    ),
    clearAll: database.prepare<[]>('DELETE FROM tail'),
    forgetFacts: database.prepare<[number, number]>(
      'DELETE FROM facts WHERE service = ? AND number < ?',
    ),
  };
}

const headColumns = `service, day, first_at_ms, last_at_ms, answered, limited, failed, unproven,
  least_facts, columns_crc, crc, sketches_bytes`;
const headValues = `:service, :day, :firstAt, :lastAt, :answered, :limited, :failed, :unproven,
  :leastFacts, :columnsCrc, :crc, :sketchesBytes`;

function chunkAdder(database: Database): (block: StoredBlock) => void {
  const add = database.prepare<[StoredBlock]>(
    `INSERT INTO chunks (${headColumns}, bytes) VALUES (${headValues}, :bytes)`,
  );
  return (block) => void add.run(block);
}

function dayEditor(database: Database) {
  const lastKey = database.prepare<[], number | null>('SELECT max(key) FROM sealed_days').pluck();
  const add = database.prepare<[StoredBlock & Location]>(
    `INSERT INTO sealed_days (key, ${headColumns}, first_byte, bytes_count)
     VALUES (:key, ${headValues}, :firstByte, :bytesCount)`,
  );
  const addPiece = database.prepare<[number, Uint8Array]>(
    'INSERT INTO sealed_pieces (key, bytes) VALUES (?, ?)',
  );
  const forget = database.prepare<[number]>('DELETE FROM sealed_days WHERE key = ?');
  const other = database
    .prepare<[number, number], number>(
      'SELECT key FROM sealed_days WHERE key BETWEEN ? AND ? LIMIT 1',
    )
    .pluck();
  const forgetPieces = database.prepare<[number, number]>(
    'DELETE FROM sealed_pieces WHERE key BETWEEN ? AND ?',
  );
  return {
    addDays: (blocks: readonly StoredBlock[]): void => {
      const volume = volumeAfter(lastKey.get() ?? 0);
      const { locations, pieces } = bound(
        volume,
        blocks.map(({ bytes }) => bytes),
      );
      locations.forEach((location, nth) => {
        const block = blocks[nth];
        if (block) add.run({ ...block, ...location });
      });
      for (const { key, bytes } of pieces) addPiece.run(key, bytes);
    },
    /** Its bytes go with the last day of their volume. */
    forgetDay: (key: number): void => {
      changed(forget.run(key), `sealed day ${key}`);
      const volume = volumeOf(key);
      if (other.get(...dayKeysOf(volume)) === undefined) forgetPieces.run(...pieceKeysOf(volume));
    },
  };
}
