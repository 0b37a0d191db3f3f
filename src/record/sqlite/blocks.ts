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

interface BlockRow extends BlockHead {
  readonly key: number;
  readonly crc: number;
  /** So many of the bytes are sketches; the columns follow. */
  readonly sketchesBytes: number;
}

/** `damaged` is told each time that a block cannot be read. */
export function blocksOf(database: Database.Database, damaged: Damaged = () => {}): Blocks {
  const { days, kinds } = statements(database);
  const found = ({ kind, bytes }: Kind, row: BlockRow): Block => {
    const read = (countMax: number) => bytes(row.key, countMax);
    const block = { ...row, kind };
    return { ...block, ...partsOf(row, read, () => damaged(block)) };
  };
  return {
    days: (service, range) => {
      const { first, last } = daysWithin(range);
      return days.all({ service, first, last });
    },
    ofDay: (service, day) =>
      kinds.flatMap((kind) => kind.ofDay.all(service, day).map((row) => found(kind, row))),
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

/** Reads at least `countMax` of the bytes, or all where there are not so many. */
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
        return areSound(bytes) ? decodeSketches(bytes.subarray(0, row.sketchesBytes)) : null;
      }),
    columns: () =>
      attempted(() => {
        const bytes = read(Number.POSITIVE_INFINITY);
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

/** Bytes of a piece of a sealed day. Tried: of shorter ones the keys cost more, longer ones leave more of a page free. */
const pieceBytes = 400;
/** Pieces that a day can have; a day that needs more of them has longer ones. */
const piecesMax = 256;

/** The bytes of a sealed day cut into pieces, each with its key. */
export function piecesOf(day: number, bytes: Uint8Array) {
  const each = Math.max(pieceBytes, Math.ceil(bytes.length / piecesMax));
  return Array.from({ length: Math.ceil(bytes.length / each) }, (_, n) => ({
    key: day * piecesMax + n,
    bytes: bytes.subarray(n * each, (n + 1) * each),
  }));
}

/** Between which keys the pieces of the sealed day with this key lie. */
export function pieceKeysOf(day: number): readonly [first: number, last: number] {
  return [day * piecesMax, (day + 1) * piecesMax - 1];
}

const blockColumns = `key, service, day, first_at_ms AS firstAt, last_at_ms AS lastAt, answered,
  limited, failed, unproven, least_facts AS leastFacts, columns_crc AS columnsCrc, crc,
  sketches_bytes AS sketchesBytes`;

interface Kind {
  readonly kind: BlockKind;
  readonly ofDay: Database.Statement<[number, number], BlockRow>;
  readonly after: Database.Statement<[number], BlockRow>;
  readonly bytes: (key: number, countMax: number) => Uint8Array;
}

function statements(database: Database.Database) {
  const chunk = database
    .prepare<[number], Uint8Array>('SELECT bytes FROM chunks WHERE key = ?')
    .pluck();
  const pieces = database
    .prepare<[number, number, number], Uint8Array>(
      'SELECT bytes FROM sealed_pieces WHERE key BETWEEN ? AND ? ORDER BY key LIMIT ?',
    )
    .pluck();
  const kindOf = (kind: BlockKind, table: string, bytes: Kind['bytes']): Kind => ({
    kind,
    ofDay: database.prepare(
      `SELECT ${blockColumns} FROM ${table} WHERE service = ? AND day = ? ORDER BY key`,
    ),
    after: database.prepare(
      `SELECT ${blockColumns} FROM ${table} WHERE key > ? ORDER BY key LIMIT 1`,
    ),
    bytes,
  });
  return {
    days: database
      .prepare<[{ service: number; first: number; last: number }], number>(
        `SELECT day FROM sealed_days WHERE service = :service AND day BETWEEN :first AND :last
         UNION SELECT day FROM chunks WHERE service = :service AND day BETWEEN :first AND :last
         ORDER BY day`,
      )
      .pluck(),
    kinds: [
      kindOf('sealed day', 'sealed_days', (key, countMax) => {
        const count = Math.min(Math.ceil(countMax / pieceBytes), piecesMax);
        return Buffer.concat(pieces.all(...pieceKeysOf(key), count));
      }),
      kindOf('chunk', 'chunks', (key) => chunk.get(key) ?? new Uint8Array(0)),
    ],
  };
}
