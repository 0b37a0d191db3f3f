/** Blocks as bytes: nothing is lost, nothing damaged is read, and a day of answers is small. */
import { Buffer } from 'node:buffer';
import { deflateRawSync } from 'node:zlib';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Columns, columnsOf, type Row } from '../../../src/record/sqlite/sealed/block.ts';
import { checksumOf } from '../../../src/record/sqlite/sealed/checksum.ts';
import { decodeColumns, encodeColumns } from '../../../src/record/sqlite/sealed/codec.ts';
import { packed, unpacked } from '../../../src/record/sqlite/sealed/packed.ts';
import { encodeSketches, sketchesOf } from '../../../src/record/sqlite/sealed/sketches.ts';
import { outcomeNumbers } from '../../../src/record/sqlite/stored.ts';
import { anyRows, seeded, usualDay } from '../support/rows.ts';
import { hour, minute, second, t0 } from '../support/values.ts';

const answered = (at: number, tookUs = 20_000): Row => ({
  at,
  outcome: outcomeNumbers.answered,
  tookUs,
  reason: null,
  detail: null,
  hint: null,
  facts: 1,
  phases: {},
});
const refused = (at: number): Row => ({
  ...answered(at, 412),
  outcome: outcomeNumbers.failed,
  reason: 'refused',
  detail: 'nothing listens on 192.0.2.7:5432',
  hint: 'Look at the tap.',
  facts: null,
  phases: { resolveUs: 21, connectUs: 380 },
});
const every = (stepMs: number, count: number, from = t0) =>
  Array.from({ length: count }, (_, nth) => from + nth * stepMs);

function backAgain(columns: Columns): Columns {
  return decodeColumns(encodeColumns(columns));
}

describe('what was encoded is decoded to the last bit', () => {
  test('for any rows', () => {
    fc.assert(
      fc.property(anyRows, (rows) => {
        const columns = columnsOf(rows);
        expect(backAgain(columns)).toEqual(columns);
      }),
      { numRuns: 300 },
    );
  });

  test.each<[string, readonly Row[]]>([
    ['no rows', []],
    ['a single row', [answered(t0)]],
    ['a single failed row', [refused(t0)]],
    ['the ends of time', [answered(0), answered(8.64e15)]],
    ['the longest latency', [answered(t0, Number.MAX_SAFE_INTEGER), answered(t0, 0)]],
    ['the same instant only', every(0, 50).map((at) => answered(at))],
    ['steps of a millisecond', every(1, 500).map((at) => answered(at))],
    ['failed rows only', every(30 * second, 200).map(refused)],
    ['a usual day', usualDay(1)],
    [
      'intervals that change, with a gap between',
      [...every(30 * second, 300), ...every(minute, 300, t0 + 8 * hour)].map((at) => answered(at)),
    ],
    [
      'two courses of a clock that was set back, one across the other',
      [...every(30 * second, 300), ...every(30 * second, 300, t0 + hour + 17)].map((at) =>
        answered(at),
      ),
    ],
    [
      'a grid with questions in between',
      every(30 * second, 300).flatMap((at, nth) =>
        nth % 7 === 0 ? [refused(at), answered(at + 5 * second)] : [answered(at)],
      ),
    ],
  ])('for %s', (_, rows) => {
    const columns = columnsOf(rows);
    expect(backAgain(columns)).toEqual(columns);
  });
});

test('what the first version wrote can still be read', () => {
  const rows = [answered(t0), refused(t0 + 30_001), answered(t0 + minute, 21_000)];
  const written =
    '017301016266646064626460642f4a4d2b2d4e4d6164606484e339cc8c628c7f41d220c8a898975f92919997ae9093595c929a57ac909fa7606869a467a067a4676e656a626cc428e0939f9fad9058a2509291aa509258a0c7c8d0d0f2b16da1c9c65720333f3333303200000000ffff7a00000000ffffe30300';
  expect(decodeColumns(Buffer.from(written, 'hex'))).toEqual(columnsOf(rows));
});

describe('a day at 30 s', () => {
  const sizes = [1, 2, 3].map((seed) => {
    const rows = usualDay(seed);
    const columnsBytes = encodeColumns(columnsOf(rows)).length / rows.length;
    return {
      columnsBytes,
      bothBytes: columnsBytes + encodeSketches(sketchesOf(rows)).length / rows.length,
    };
  });

  test('takes at most 1.05 bytes an observation, and 1.2 with the sketches of all phases', () => {
    for (const { columnsBytes, bothBytes } of sizes) {
      expect(columnsBytes).toBeLessThanOrEqual(1.05);
      expect(bothBytes).toBeLessThanOrEqual(1.2);
    }
  });

  test('that moves slowly takes less than one whose latencies have nothing to do with each other', () => {
    const shape = (us: (nth: number) => number) =>
      encodeColumns(columnsOf(every(30 * second, 2_880).map((at, nth) => answered(at, us(nth)))));
    const slow = (nth: number) => 20_000 + 19_000 * Math.sin(nth / 200);
    const shuffled = (nth: number) => slow((nth * 1_201) % 2_880);
    expect(shape(slow).length).toBeLessThan(0.5 * shape(shuffled).length);
  });

  test('whose course begins anew off the grid costs little more than one that goes on', () => {
    const size = (pauseMs: number) => {
      const later = every(30 * second, 1_400, t0 + 1_400 * 30 * second + pauseMs);
      const course = [...every(30 * second, 1_400), ...later];
      const random = seeded(1);
      const late = () => Math.floor(3 * random());
      return encodeColumns(columnsOf(course.map((at) => answered(at + late())))).length;
    };
    expect(size(hour + 7_919) - size(0)).toBeLessThan(130);
  });

  test('of the same failure costs no more for a long text than for a short one', () => {
    const size = (detail: string) =>
      encodeColumns(columnsOf(every(30 * second, 2_880).map((at) => ({ ...refused(at), detail }))))
        .length;
    expect(size('no')).toBeLessThan(400);
    expect(size('x'.repeat(400)) - size('no')).toBeLessThan(400);
  });

  test('of any other interval and with questions in between stays small', () => {
    const asked = every(20 * minute + 7, 60).flatMap((from) => every(2 * minute, 9, from));
    expect(encodeColumns(columnsOf(asked.map((at) => answered(at)))).length).toBeLessThan(800);
  });
});

describe('damage', () => {
  const sealed = encodeColumns(
    columnsOf([...every(30 * second, 40).map((at) => answered(at, at % 9_999)), refused(t0)]),
  );

  test('of a single bit is found by the checksum, wherever it is', () => {
    const sum = checksumOf('order-book', sealed);
    for (let bit = 0; bit < 8 * sealed.length; bit++) {
      const other = sealed.slice();
      other[bit >> 3]! ^= 1 << (bit & 7);
      expect(checksumOf('order-book', other)).not.toBe(sum);
    }
  });

  test('of a single bit ends in columns or in an error, never in anything else', () => {
    for (let bit = 0; bit < 8 * sealed.length; bit++) {
      const other = sealed.slice();
      other[bit >> 3]! ^= 1 << (bit & 7);
      let decoded: Columns | null = null;
      try {
        decoded = decodeColumns(other);
      } catch (thrown) {
        expect(String(thrown)).toMatch(/^Error: What was sealed is damaged: .+\.$/);
      }
      if (decoded) expect(decoded.at).toHaveLength(decoded.count);
    }
  });

  test('by a cut is found without a checksum, wherever it is', () => {
    for (let length = 0; length < sealed.length; length++) {
      expect(() => decodeColumns(sealed.subarray(0, length))).toThrow('What was sealed is damaged');
    }
  });

  test('to any bytes at all is found', () => {
    const anyBytes = fc.uint8Array({ maxLength: 200 });
    const begun = anyBytes.map((bytes) => Uint8Array.of(1, ...bytes));
    fc.assert(
      fc.property(fc.oneof(anyBytes, begun), (bytes) => {
        expect(() => decodeColumns(bytes)).toThrow('What was sealed is damaged');
      }),
    );
  });

  test('to the head within a sound stream is found', () => {
    const none = new Uint8Array();
    fc.assert(
      fc.property(
        fc.uint8Array({ maxLength: 60 }),
        fc.uint8Array({ maxLength: 9 }),
        (head, column) => {
          try {
            const { count, at, bucket } = decodeColumns(packed(1, [head, column, none]));
            expect([at.length, bucket.length]).toEqual([count, count]);
          } catch (thrown) {
            expect(String(thrown)).toMatch(/^Error: What was sealed is damaged/);
          }
        },
      ),
      { numRuns: 400 },
    );
  });
});

describe('a hostile block', () => {
  const number = (value: number): number[] =>
    value < 128 ? [value] : [(value % 128) + 128, ...number(Math.floor(value / 128))];
  const none = new Uint8Array();

  test.each([
    ['columns of a petabyte', [1, ...number(2 ** 50), 0, 0, 3, 0], 'is too great a number'],
    ['columns too long together', [1, ...number(1e8), ...number(1e8), 0, 3, 0], 'it is too long'],
    ['a number without an end', [1, ...Array(40).fill(0xff)], 'a number does not end'],
    ['a later version', [2, 0, 0, 0, 3, 0], 'its version is 2, not 1'],
  ])('is refused: %s', (_, bytes, how) => {
    expect(() => decodeColumns(Uint8Array.from(bytes))).toThrow(how);
  });

  const million = [...number(1e6), 0];
  test.each([
    ['a thousand million rows', number(1e9), 'is too great a number'],
    [
      'a million rows without an instant',
      [...number(1e6), ...million, 0, ...million, ...million, 0, 0, 1, 0, 0, 0],
      'a column has another length than it should',
    ],
    ['a run that is longer than the rows', [1, 2, 0], 'is too great a number'],
    ['runs of nothing', [1, 0, 0], 'a run is empty'],
    ['an outcome that there is not', [1, 1, 4], 'is too great a number'],
    ['more reasons than bytes', [1, 1, 0, ...number(1e6)], 'is too great a number'],
    ['a reason that is not listed', [1, 1, 0, 0, 1, 1], 'is too great a number'],
    ['a text beyond the end', [1, 1, 0, 1, 90, 65], 'is too great a number'],
  ])('is refused: %s', (_, head, how) => {
    expect(() => decodeColumns(packed(1, [Uint8Array.from(head), none, none]))).toThrow(how);
  });

  // Two answers; the first at 1000, a step of 1 ms without a grid, the median in bucket 0.
  const two = [2, 2, 0, 0, 2, 0, 2, 0, 0, ...number(1_000), 1, 0, 0, 0, 0, 0, 0, 0];
  const mark = 0x80;
  test.each([
    ['time that runs backward', [-2], [0, 0], 'time runs backward'],
    ['an instant that is not listed', [mark], [0, 0], 'time runs backward'],
    ['a latency below none', [0], [0, -1], 'there is no such latency'],
    ['a latency that is not listed', [0], [0, mark], 'there is no such latency'],
  ])('is refused: %s', (_, times, latencies, how) => {
    const block = (...columns: readonly number[][]) =>
      packed(1, [Uint8Array.from(two), ...columns.map((column) => Uint8Array.from(column))]);
    expect([...decodeColumns(block([0], [0, 1])).at]).toEqual([1_000, 1_001]);
    expect(() => decodeColumns(block(times, latencies))).toThrow(how);
  });

  test('is refused when a part of it is longer or shorter than it should be', () => {
    const rows = every(30 * second, 40).map((at) => answered(at, 1_000 + (at % 97)));
    const [head, times, latencies] = unpacked(1, 3, encodeColumns(columnsOf(rows))) as [
      Uint8Array,
      Uint8Array,
      Uint8Array,
    ];
    const longer = (part: Uint8Array) => Uint8Array.of(...part, 0);
    expect(decodeColumns(packed(1, [head, times, latencies])).count).toBe(40);
    for (const [columns, how] of [
      [[longer(head), times, latencies], 'it does not end where it should'],
      [[head.subarray(1), times, latencies], 'What was sealed is damaged'],
      [[head, longer(times), latencies], 'a column has another length than it should'],
      [[head, times.subarray(1), latencies], 'a column has another length than it should'],
      [[head, times, longer(latencies)], 'a column has another length than it should'],
      [[head, times, latencies.subarray(1)], 'a column has another length than it should'],
    ] as const) {
      expect(() => decodeColumns(packed(1, columns))).toThrow(how);
    }
  });

  test('is not inflated beyond what it announces', () => {
    const bomb = deflateRawSync(new Uint8Array(20_000_000));
    expect(bomb.length).toBeLessThan(20_000);
    const announced = Uint8Array.of(1, 10, 0, 0, ...bomb);
    expect(() => decodeColumns(announced)).toThrow('Cannot create a Buffer larger than 10 bytes');
  });
});

test('more rows than a block holds are a mistake of the caller', () => {
  const columns = { ...columnsOf([]), count: 1_000_001 };
  expect(() => encodeColumns(columns)).toThrow(RangeError);
});

test('a latency that is none is a mistake of the caller', () => {
  expect(() => encodeColumns(columnsOf([{ ...refused(t0), tookUs: -1 }]))).toThrow(RangeError);
  expect(() => encodeColumns(columnsOf([{ ...refused(t0), tookUs: 0.5 }]))).toThrow(RangeError);
});

test('the checksum is CRC-32, over all parts in turn', () => {
  // The check value of CRC-32/ISO-HDLC for "123456789", as catalogues of CRCs list it.
  expect(checksumOf('123456789')).toBe(0xcbf43926);
  expect(checksumOf('1234', Buffer.from('567'), '89')).toBe(0xcbf43926);
  expect(checksumOf()).toBe(0);
});
