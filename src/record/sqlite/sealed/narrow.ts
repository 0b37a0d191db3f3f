/**
 * Columns of numbers that are nearly always small: a byte or half a byte for each. The few that are wide are only marked in
 * the column and listed in the head.
 */
import { damaged, type Eye, type Pen } from './bytes.ts';
import { packedLength } from './packed.ts';

export interface Narrow {
  /** Two numbers share a byte. A Huffman code has at least one bit, which then is half a bit for each. */
  readonly halves: boolean;
  readonly column: Uint8Array;
  readonly wide: readonly number[];
}

/** In the place of a wide number. */
export const wideMark = -128;
const halfMark = -8;

/**
 * In bytes or in halves of them, whichever packs shorter. `wideOf` gives what is listed for the n-th number (0 or greater)
 * where that is too great for the column.
 */
export function narrowed(numbers: ArrayLike<number>, wideOf: (nth: number) => number): Narrow {
  return shortest([within(127, numbers, wideOf), within(7, numbers, wideOf)]);
}

export function shortest<Column extends Narrow>(columns: readonly [Column, ...Column[]]): Column {
  const sized = columns.map((column) => ({ column, size: sizeOf(column) }));
  return sized.reduce((best, other) => (other.size < best.size ? other : best)).column;
}

/** About what it takes. */
function sizeOf({ column, wide }: Narrow): number {
  return packedLength(column) + 2 * wide.length;
}

function within(max: 7 | 127, numbers: ArrayLike<number>, wideOf: (nth: number) => number): Narrow {
  const wide: number[] = [];
  const bytes = new Int8Array(numbers.length);
  for (let nth = 0; nth < bytes.length; nth++) {
    const number = numbers[nth] ?? 0;
    const fits = Math.abs(number) <= max;
    bytes[nth] = fits ? number : wideMark;
    if (!fits) wide.push(wideOf(nth));
  }
  const halves = max === 7;
  return { halves, column: halves ? paired(bytes) : new Uint8Array(bytes.buffer), wide };
}

function paired(bytes: Int8Array): Uint8Array {
  const pairs = new Uint8Array(Math.ceil(bytes.length / 2));
  bytes.forEach((byte, nth) => {
    const half = (byte === wideMark ? halfMark : byte) & 0xf;
    pairs[nth >> 1] = (pairs[nth >> 1] ?? 0) | (half << ((nth & 1) * 4));
  });
  return pairs;
}

/** Returns the column; what it takes to read it goes to the head. */
export function writeNarrow(head: Pen, { halves, column, wide }: Narrow): Uint8Array {
  head.number(halves ? 1 : 0);
  head.numbers(wide);
  return column;
}

export interface Numbers {
  /** `wideMark`: the next one of `wide`. */
  readonly numbers: Int8Array;
  readonly wide: readonly number[];
}

export function readNarrow(head: Eye, column: Uint8Array, count: number): Numbers {
  const halves = head.number(1) === 1;
  const wide = head.numbers();
  if (column.length !== (halves ? Math.ceil(count / 2) : count)) {
    throw damaged('a column has another length than it should');
  }
  const { buffer, byteOffset } = column;
  const numbers = halves ? unpaired(column, count) : new Int8Array(buffer, byteOffset, count);
  return { numbers, wide };
}

function unpaired(pairs: Uint8Array, count: number): Int8Array {
  const numbers = new Int8Array(count);
  for (let nth = 0; nth < count; nth++) {
    // Shifted up and down again a half keeps its sign.
    const half = ((pairs[nth >> 1] ?? 0) << (28 - (nth & 1) * 4)) >> 28;
    numbers[nth] = half === halfMark ? wideMark : half;
  }
  return numbers;
}
