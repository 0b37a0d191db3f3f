/** Rows as columns, and columns put together. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { columnsOf, merged, type Row, rowsOf } from '../../../src/record/sqlite/sealed/block.ts';
import { decodeColumns, encodeColumns } from '../../../src/record/sqlite/sealed/codec.ts';
import { outcomeNumbers } from '../../../src/record/sqlite/stored.ts';
import { bucketOf } from '../../../src/uptime/sketch.ts';
import { anyRows } from '../support/rows.ts';
import { t0 } from '../support/values.ts';

const inOrder = (rows: readonly Row[]) => rows.toSorted((one, other) => one.at - other.at);

const answered: Row = {
  at: t0,
  outcome: outcomeNumbers.answered,
  tookUs: 412,
  reason: null,
  detail: null,
  hint: null,
  facts: null,
  phases: {},
};

test('a failed row comes back as it was, another with its latency to 1 % and without phases and texts', () => {
  fc.assert(
    fc.property(anyRows, (rows) => {
      const back = rowsOf(columnsOf(rows));
      expect(back).toHaveLength(rows.length);
      inOrder(rows).forEach((row, place) => {
        if (row.outcome === outcomeNumbers.failed) {
          expect(back[place]).toEqual(row);
          return;
        }
        const { tookUs } = back[place]!;
        expect(Math.abs(tookUs - row.tookUs)).toBeLessThanOrEqual(0.01 * row.tookUs + 1e-6);
        expect(back[place]).toEqual({ ...row, tookUs, phases: {}, detail: null, hint: null });
      });
    }),
  );
});

test('rows of the same instant stay in the order in which they came', () => {
  const rows = [5, 3, 5, 3, 5].map((at, nth) => ({ ...answered, at, facts: nth + 1 }));
  expect(rowsOf(columnsOf(rows)).map(({ facts }) => facts)).toEqual([2, 4, 1, 3, 5]);
});

test('a part of the rows is what lies between two places', () => {
  fc.assert(
    fc.property(anyRows, fc.nat({ max: 70 }), fc.nat({ max: 70 }), (rows, first, end) => {
      const columns = columnsOf(rows);
      expect(rowsOf(columns, first, end)).toEqual(rowsOf(columns).slice(first, end));
    }),
  );
});

test('parts make the same block as all their rows, however those were shared out, sealed before or not', () => {
  const shared = anyRows.chain((rows) =>
    fc.tuple(
      fc.constant(rows),
      fc.array(fc.nat({ max: 3 }), { minLength: rows.length, maxLength: rows.length }),
    ),
  );
  fc.assert(
    fc.property(shared, ([rows, shares]) => {
      const parts = [0, 1, 2, 3].map((part) => rows.filter((_, nth) => shares[nth] === part));
      const whole = columnsOf(parts.flat());
      const columns = parts.map(columnsOf);
      expect(merged(columns)).toEqual(whole);
      expect(merged(columns.map((part) => decodeColumns(encodeColumns(part))))).toEqual(whole);
    }),
  );
});

test('no rows make an empty block, and so do no parts', () => {
  expect(columnsOf([]).count).toBe(0);
  expect(rowsOf(columnsOf([]))).toEqual([]);
  expect(merged([])).toEqual(columnsOf([]));
});

test('each reason and each trouble is there once', () => {
  const failed = { ...answered, outcome: outcomeNumbers.failed, reason: 'refused', detail: 'no' };
  const columns = columnsOf([failed, answered, failed, { ...failed, detail: 'never' }]);
  expect(columns.reasons).toEqual(['refused']);
  expect([...columns.reason]).toEqual([1, 0, 1, 1]);
  expect(columns.failures.troubles).toEqual([
    { detail: 'no', hint: null },
    { detail: 'never', hint: null },
  ]);
  expect([...columns.failures.row]).toEqual([0, 2, 3]);
  expect([...columns.failures.trouble]).toEqual([0, 0, 1]);
  expect([...columns.bucket]).toEqual(Array(4).fill(bucketOf(412)));
});

test.each<Partial<Row>>([
  { at: -1 },
  { at: t0 + 0.5 },
  { at: Number.NaN },
  { outcome: 4 },
  { facts: 0 },
  { facts: 2 ** 32 },
])('a row with %o is a mistake of the caller', (more) => {
  expect(() => columnsOf([{ ...answered, ...more }])).toThrow(RangeError);
});
