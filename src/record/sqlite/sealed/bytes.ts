/** Numbers, runs of them and texts as bytes, and back. */
import { Buffer } from 'node:buffer';

export interface Pen {
  /** A whole number in 0…2⁵³−1: seven bits a byte, the lowest first. Throws RangeError for any other. */
  number(value: number): void;
  /** How many, and each. */
  numbers(values: readonly number[]): void;
  /** Each value with how often it comes in a row. */
  runs(values: ArrayLike<number>): void;
  /** UTF-8. */
  text(text: string): void;
  written(): Uint8Array;
}

export function pen(): Pen {
  const bytes: number[] = [];
  const number = (value: number): void => {
    if (!Number.isSafeInteger(value) || value < 0) {
      throw new RangeError(`${value} cannot be sealed`);
    }
    let rest = value;
    for (; rest >= 0x80; rest = Math.floor(rest / 0x80)) bytes.push((rest % 0x80) + 0x80);
    bytes.push(rest);
  };
  return {
    number,
    numbers: (values) => {
      number(values.length);
      values.forEach(number);
    },
    runs: (values) => {
      for (let from = 0, to = 0; from < values.length; from = to) {
        while (to < values.length && values[to] === values[from]) to++;
        number(to - from);
        number(values[from] ?? 0);
      }
    },
    text: (text) => {
      const encoded = Buffer.from(text);
      number(encoded.length);
      for (const byte of encoded) bytes.push(byte);
    },
    written: () => Uint8Array.from(bytes),
  };
}

/** Reads what a pen wrote, in the same order. All of it throws Error for bytes that no pen wrote. */
export interface Eye {
  number(max?: number): number;
  numbers(): number[];
  /** Fills `into`. */
  runs<Column extends Uint8Array | Uint32Array | Float64Array>(into: Column, max: number): Column;
  text(): string;
  /** How many bytes are left: no list that was written can have more members. */
  left(): number;
}

export function eye(bytes: Uint8Array): Eye {
  let place = 0;
  const left = () => bytes.length - place;
  const number = (max = Number.MAX_SAFE_INTEGER): number => {
    let value = 0;
    for (let weight = 1; weight <= 2 ** 49; weight *= 0x80) {
      const byte = bytes[place++];
      if (byte === undefined) throw damaged('it ends too early');
      value += (byte & 0x7f) * weight;
      if (byte >= 0x80) continue;
      if (value > max) throw damaged(`${value} is too great a number`);
      return value;
    }
    throw damaged('a number does not end');
  };
  return {
    number,
    numbers: () => Array.from({ length: number(left()) }, () => number()),
    runs: (into, max) => {
      for (let from = 0, length = 0; from < into.length; from += length) {
        length = number(into.length - from);
        if (length === 0) throw damaged('a run is empty');
        into.fill(number(max), from, from + length);
      }
      return into;
    },
    text: () => {
      const length = number(left());
      place += length;
      return Buffer.from(bytes.subarray(place - length, place)).toString();
    },
    left,
  };
}

export function damaged(how: string): Error {
  return new Error(`What was sealed is damaged: ${how}.`);
}
