/**
 * The blocks of the record as they lie in its tables: chunks, and sealed days in pieces. What is in a block is shown only
 * when its checksums hold: there is damage that SQLite does not see.
 */
import Database from 'better-sqlite3';
import type { Log } from '../../base/log.ts';
import type { Range } from '../record.ts';
import { daysWithin } from './days.ts';
import type { Columns } from './sealed/block.ts';
import { checksumOf } from './sealed/checksum.ts';
import { decodeColumns } from './sealed/codec.ts';
import { decodeSketches, type Sketches } from './sealed/sketches.ts';
import { type Location, piecesWith } from './volumes.ts';

/** What stands beside the bytes of a block. */
export interface BlockHead {
  readonly service: number;
  /** UTC day since the epoch. */
  readonly day: number;
  readonly firstAt: number;
  readonly lastAt: number;
  /** How many of each outcome. */
  readonly answered: number;
  readonly limited: number;
  readonly failed: number;
  readonly unproven: number;
  /** The least number of facts in it; null: none. */
  readonly leastFacts: number | null;
  readonly columnsCrc: number;
}

export type BlockKind = 'chunk' | 'sealed day';

/** A block that was found. What its head says is to be believed only when one of its parts could be read. */
export interface Block extends BlockHead {
  readonly kind: BlockKind;
  readonly key: number;
  /** Null: it is damaged. */
  sketches(): Sketches | null;
  /** Null: it is damaged, here or in its sketches. */
  columns(): Columns | null;
  /** As it is stored, whether or not it is sound. */
  stored(): StoredBlock;
}

export interface StoredBlock extends BlockHead {
  /** Of all but the columns, see `headCrc`. */
  readonly crc: number;
  /** So many of the bytes are sketches; the columns follow. */
  readonly sketchesBytes: number;
  readonly bytes: Uint8Array;
}

/** Tells which block is damaged. */
export type Damaged = (block: Pick<Block, 'kind' | 'key' | 'service' | 'day'>) => void;

export interface Blocks {
  /** The days of the range of which there are blocks, in order. */
  days(service: number, range: Range): readonly number[];
  /** In the order in which their observations came. */
  ofDay(service: number, day: number): readonly Block[];
  /** All of them, for a look through the whole record. */
  every(): Generator<Block, void, void>;
  /** Null: there is none with this key. */
  byKey(kind: BlockKind, key: number): Block | null;
}

/** Says of each damaged block once that it is left out. */
export function damagedOnce(log: Log): Damaged {
  const said = new Set<string>();
  return ({ kind, key, service, day }) => {
    if (said.has(`${kind} ${key}`)) return;
    said.add(`${kind} ${key}`);
    log.error({ kind, key, service, day }, 'a part of the record is damaged, and left out');
  };
}

type BlockRow = Omit<StoredBlock, 'bytes'> & Location;

/** `damaged` is told each time that a block cannot be read. */
export function blocksOf(database: Database.Database, damaged: Damaged = () => {}): Blocks {
  const { days, kinds } = statements(database);
  const found = ({ kind, bytes }: Kind, row: BlockRow): Block => {
    const read = (countMax: number) => bytes(row, countMax);
    const block = { ...row, kind };
    const stored = () => ({ ...row, bytes: read(row.bytesCount) });
    return { ...block, ...partsOf(row, read, () => damaged(block)), stored };
  };
  return {
    days: (service, range) => {
      const { first, last } = daysWithin(range);
      return days.all({ service, first, last });
    },
    ofDay: (service, day) =>
      kinds.flatMap((kind) => kind.ofDay.all(service, day).map((row) => found(kind, row))),
    byKey: (kind, key) => {
      const of = kinds.find((one) => one.kind === kind);
      const row = of?.after.get(key - 1);
      return of && row?.key === key ? found(of, row) : null;
    },
    every: function* () {
      for (const kind of kinds) {
        for (let key = 0; ; ) {
          const row = kind.after.get(key);
          if (!row) break;
          yield found(kind, row);
          key = row.key;
        }
      }
    },
  };
}

/** Reads the bytes of a block; at most so many. */
type Read = (countMax: number) => Uint8Array;

function partsOf(
  row: BlockRow,
  read: Read,
  damaged: () => void,
): Pick<Block, 'sketches' | 'columns'> {
  const attempted = <Part>(decode: () => Part | null): Part | null => {
    const part = orNullWhereBroken(decode);
    if (part === null) damaged();
    return part;
  };
  const areSound = (bytes: Uint8Array): boolean =>
    headCrc(row, bytes.subarray(0, row.sketchesBytes)) === row.crc;
  return {
    sketches: () =>
      attempted(() => {
        const bytes = read(row.sketchesBytes);
        return areSound(bytes) ? decodeSketches(bytes) : null;
      }),
    columns: () =>
      attempted(() => {
        const bytes = read(row.bytesCount);
        const columns = bytes.subarray(row.sketchesBytes);
        const sound = areSound(bytes) && checksumOf(columns) === row.columnsCrc;
        return sound ? decodeColumns(columns) : null;
      }),
  };
}

/** Trouble with the disk is not damage, and is thrown. */
function orNullWhereBroken<Part>(decode: () => Part | null): Part | null {
  try {
    return decode();
  } catch (thrown) {
    if (thrown instanceof Database.SqliteError && !thrown.code.startsWith('SQLITE_CORRUPT')) {
      throw thrown;
    }
    return null;
  }
}

/** The checksum of all but the columns; that of the columns is part of it. */
export function headCrc(head: BlockHead, sketches: Uint8Array): number {
  const { service, day, firstAt, lastAt, answered, limited, failed, unproven } = head;
  const numbers = [service, day, firstAt, lastAt, answered, limited, failed, unproven];
  return checksumOf([...numbers, head.leastFacts, head.columnsCrc].join(' '), sketches);
}

const blockColumns = `key, service, day, first_at_ms AS firstAt, last_at_ms AS lastAt, answered,
  limited, failed, unproven, least_facts AS leastFacts, columns_crc AS columnsCrc, crc,
  sketches_bytes AS sketchesBytes`;

interface Kind {
  readonly kind: BlockKind;
  readonly ofDay: Database.Statement<[number, number], BlockRow>;
  readonly after: Database.Statement<[number], BlockRow>;
  readonly bytes: (row: BlockRow, countMax: number) => Uint8Array;
}

function statements(database: Database.Database) {
  const kindOf = (kind: BlockKind, table: string, location: string): Omit<Kind, 'bytes'> => {
    const select = `SELECT ${blockColumns}, ${location} FROM ${table}`;
    return {
      kind,
      ofDay: database.prepare(`${select} WHERE service = ? AND day = ? ORDER BY key`),
      after: database.prepare(`${select} WHERE key > ? ORDER BY key LIMIT 1`),
    };
  };
  return {
    days: database
      .prepare<[{ service: number; first: number; last: number }], number>(
        `SELECT day FROM sealed_days WHERE service = :service AND day BETWEEN :first AND :last
         UNION SELECT day FROM chunks WHERE service = :service AND day BETWEEN :first AND :last
         ORDER BY day`,
      )
      .pluck(),
    kinds: [
      {
        ...kindOf(
          'sealed day',
          'sealed_days',
          'first_byte AS firstByte, bytes_count AS bytesCount',
        ),
        bytes: sealedBytes(database),
      },
      {
        ...kindOf('chunk', 'chunks', '0 AS firstByte, length(bytes) AS bytesCount'),
        bytes: chunkBytes(database),
      },
    ],
  };
}

function sealedBytes(database: Database.Database): Kind['bytes'] {
  const pieces = database.prepare<[number, number], Uint8Array>(
    'SELECT bytes FROM sealed_pieces WHERE key BETWEEN ? AND ? ORDER BY key',
  );
  return (row, countMax) => {
    const { keys, skip, count } = piecesWith(row, countMax);
    return Buffer.concat(pieces.pluck().all(...keys)).subarray(skip, skip + count);
  };
}

function chunkBytes(database: Database.Database): Kind['bytes'] {
  const chunk = database.prepare<[number], Uint8Array>('SELECT bytes FROM chunks WHERE key = ?');
  return ({ key }, countMax) => chunk.pluck().get(key)?.subarray(0, countMax) ?? new Uint8Array(0);
}
