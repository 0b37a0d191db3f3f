/** The latencies of a block as sketches: of the whole exchange and of each phase, which its columns do not keep. */
import { sealedRowsCountMax } from '../../../base/limits.ts';
import type { Phases } from '../../../base/values.ts';
import { emptySketch, mergedSketch, type Sketch, sketchOf } from '../../../uptime/sketch.ts';
import { outcomeNumbers, phaseNames } from '../stored.ts';
import type { Row } from './block.ts';
import { damaged, type Eye, eye, pen } from './bytes.ts';
import { packed, unpacked } from './packed.ts';

/** Of the answers (answered or limited) alone. */
export interface Sketches {
  readonly tookUs: Sketch;
  /** Absent: the phase never happened. */
  readonly phases: { readonly [phase in keyof Phases]?: Sketch };
}

export function sketchesOf(rows: readonly Pick<Row, 'outcome' | 'tookUs' | 'phases'>[]): Sketches {
  const served = rows.filter(
    ({ outcome }) => outcome === outcomeNumbers.answered || outcome === outcomeNumbers.limited,
  );
  return {
    tookUs: sketchOf(served.map(({ tookUs }) => tookUs)),
    phases: byPhase((name) => sketchOf(served.flatMap(({ phases }) => phases[name] ?? []))),
  };
}

/** The same as the sketches of all their rows. */
export function mergedSketches(parts: readonly Sketches[]): Sketches {
  return {
    tookUs: mergedSketch(parts.map(({ tookUs }) => tookUs)),
    phases: byPhase((name) => mergedSketch(parts.flatMap(({ phases }) => phases[name] ?? []))),
  };
}

function byPhase(sketchFor: (name: keyof Phases) => Sketch): Sketches['phases'] {
  const phases: { -readonly [name in keyof Phases]: Sketch } = {};
  for (const name of phaseNames) {
    const sketch = sketchFor(name);
    if (sketch.count > 0) phases[name] = sketch;
  }
  return phases;
}

/** Of the format; never to be given another meaning. */
const version = 1;

export function encodeSketches({ tookUs, phases }: Sketches): Uint8Array {
  const gaps = pen();
  const counts = pen();
  for (const { buckets } of [tookUs, ...phaseNames.map((name) => phases[name] ?? emptySketch)]) {
    gaps.number(buckets.length);
    let next = 0;
    for (const [bucket, count] of buckets) {
      gaps.number(bucket - next);
      counts.number(count - 1);
      next = bucket + 1;
    }
  }
  return packed(version, [gaps.written(), counts.written()]);
}

/** Throws Error for bytes that are none of `encodeSketches`. */
export function decodeSketches(bytes: Uint8Array): Sketches {
  const [gaps, counts] = unpacked(version, 2, bytes).map(eye);
  if (!(gaps && counts)) throw damaged('a column is missing');
  const tookUs = read(gaps, counts);
  const phases = byPhase(() => read(gaps, counts));
  if (gaps.left() + counts.left() > 0) throw damaged('it does not end where it should');
  return { tookUs, phases };
}

function read(gaps: Eye, counts: Eye): Sketch {
  let next = 0;
  let sum = 0;
  const buckets = Array.from({ length: gaps.number(gaps.left()) }, () => {
    const bucket = next + gaps.number();
    const count = counts.number(sealedRowsCountMax) + 1;
    next = bucket + 1;
    sum += count;
    return [bucket, count] as const;
  });
  return { count: sum, buckets };
}
