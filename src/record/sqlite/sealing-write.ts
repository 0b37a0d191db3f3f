/** Sealing, the part that writes. Always within a transaction, and little at a time: the daemon stands still meanwhile. */
import type { Database, RunResult } from 'better-sqlite3';
import { pieceKeysOf, piecesOf } from './blocks.ts';
import type { ChunkBatch, MadeBlock, SealBatch } from './sealing-jobs.ts';

export interface SealingWrites {
  /** These rows are in chunks from now on, and no longer in the tail, where they only wait for `clear`. */
  chunks(batch: ChunkBatch): void;
  days(batch: SealBatch): void;
  /** Deletes the rows from `from` to `to` that are in chunks. */
  clear(from: number, to: number): void;
  forgetDay(key: number): void;
  /** Deletes what the service told of itself under lower numbers than this one. */
  forgetFacts(service: number, least: number): void;
}

export function sealingWrites(database: Database): SealingWrites {
  const { move, deleteChunk, clear, forgetFacts } = statements(database);
  const addChunk = chunkAdder(database);
  const { addDay, forgetDay } = dayEditor(database);
  return {
    chunks: ({ chunks, moved }) => {
      chunks.forEach(addChunk);
      for (const { service, seq } of moved) changed(move.run(seq), `the last row of ${service}`);
    },
    days: ({ days }) => {
      for (const { block, chunks, replaces } of days) {
        if (replaces !== null) forgetDay(replaces);
        for (const key of chunks) changed(deleteChunk.run(key), `chunk ${key}`);
        addDay(block);
      }
    },
    clear: (from, to) => void clear.run(from, to),
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
    forgetFacts: database.prepare<[number, number]>(
      'DELETE FROM facts WHERE service = ? AND number < ?',
    ),
  };
}

const headColumns = `service, day, first_at_ms, last_at_ms, answered, limited, failed, unproven,
  least_facts, columns_crc, crc, sketches_bytes`;
const headValues = `:service, :day, :firstAt, :lastAt, :answered, :limited, :failed, :unproven,
  :leastFacts, :columnsCrc, :crc, :sketchesBytes`;

function chunkAdder(database: Database): (block: MadeBlock) => void {
  const add = database.prepare<[MadeBlock]>(
    `INSERT INTO chunks (${headColumns}, bytes) VALUES (${headValues}, :bytes)`,
  );
  return (block) => void add.run(block);
}

function dayEditor(database: Database) {
  const add = database.prepare<[MadeBlock]>(
    `INSERT INTO sealed_days (${headColumns}) VALUES (${headValues})`,
  );
  const addPiece = database.prepare<[number, Uint8Array]>(
    'INSERT INTO sealed_pieces (key, bytes) VALUES (?, ?)',
  );
  const forget = database.prepare<[number]>('DELETE FROM sealed_days WHERE key = ?');
  const forgetPieces = database.prepare<[number, number]>(
    'DELETE FROM sealed_pieces WHERE key BETWEEN ? AND ?',
  );
  return {
    addDay: (block: MadeBlock): void => {
      const day = Number(add.run(block).lastInsertRowid);
      for (const { key, bytes } of piecesOf(day, block.bytes)) addPiece.run(key, bytes);
    },
    forgetDay: (key: number): void => {
      changed(forget.run(key), `sealed day ${key}`);
      forgetPieces.run(...pieceKeysOf(key));
    },
  };
}
