/** The latencies of a block as sketches: which rows count, adding up, and their bytes. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { packed, unpacked } from '../../../src/record/sqlite/sealed/packed.ts';
import {
  decodeSketches,
  encodeSketches,
  mergedSketches,
  sketchesOf,
} from '../../../src/record/sqlite/sealed/sketches.ts';
import { outcomeNumbers } from '../../../src/record/sqlite/stored.ts';
import { bucketOf } from '../../../src/uptime/sketch.ts';
import { anyRows, usualDay } from '../support/rows.ts';

test('only answers count, and a phase only where it happened', () => {
  const row = (outcome: number, tookUs: number, connectUs?: number) => ({
    outcome,
    tookUs,
    phases: connectUs === undefined ? {} : { connectUs },
  });
  const rows = [
    row(outcomeNumbers.answered, 100, 40),
    row(outcomeNumbers.limited, 100),
    row(outcomeNumbers.failed, 7, 7),
    row(outcomeNumbers.unproven, 8, 8),
  ];
  expect(sketchesOf(rows)).toEqual({
    tookUs: { count: 2, buckets: [[bucketOf(100), 2]] },
    phases: { connectUs: { count: 1, buckets: [[bucketOf(40), 1]] } },
  });
});

test('those of parts, added up, are those of all their rows', () => {
  fc.assert(
    fc.property(fc.array(anyRows, { maxLength: 4 }), (parts) => {
      expect(mergedSketches(parts.map(sketchesOf))).toEqual(sketchesOf(parts.flat()));
    }),
  );
});

test('what was encoded is decoded to the last bit', () => {
  const rows = fc.oneof(anyRows, fc.nat().map(usualDay));
  fc.assert(
    fc.property(rows, (some) => {
      const sketches = sketchesOf(some);
      expect(decodeSketches(encodeSketches(sketches))).toEqual(sketches);
    }),
  );
});

test('cut or any bytes at all are refused', () => {
  const sealed = encodeSketches(sketchesOf(usualDay(1)));
  for (let length = 0; length < sealed.length; length++) {
    expect(() => decodeSketches(sealed.subarray(0, length))).toThrow('What was sealed is damaged');
  }
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 100 }), (bytes) => {
      expect(() => decodeSketches(Uint8Array.of(1, ...bytes))).toThrow(
        'What was sealed is damaged',
      );
    }),
  );
});

test('bytes that go on after the last bucket are refused', () => {
  const [gaps, counts] = unpacked(1, 2, encodeSketches(sketchesOf(usualDay(1)))) as [
    Uint8Array,
    Uint8Array,
  ];
  const longer = packed(1, [gaps, Uint8Array.of(...counts, 0)]);
  expect(() => decodeSketches(longer)).toThrow('it does not end where it should');
});
