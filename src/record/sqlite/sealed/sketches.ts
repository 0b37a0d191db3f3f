/** The latencies of a block as sketches: of the whole exchange and of each phase, which its columns do not keep. */
import type { Phases } from '../../../base/values.ts';
import { mergedSketch, type Sketch, sketchOf } from '../../../uptime/sketch.ts';
import { outcomeNumbers, phaseNames } from '../stored.ts';
import type { Row } from './block.ts';

/** Of the answers (answered or limited) alone. */
export interface Sketches {
  readonly tookUs: Sketch;
  /** Absent: the phase never happened. */
  readonly phases: { readonly [phase in keyof Phases]?: Sketch };
}

export function sketchesOf(rows: readonly Row[]): Sketches {
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

/** Compressed. */
export function encodeSketches(sketches: Sketches): Uint8Array {
  return new TextEncoder().encode(JSON.stringify(sketches));
}

/** Throws Error where the bytes are not what `encodeSketches` writes. */
export function decodeSketches(bytes: Uint8Array): Sketches {
  return JSON.parse(new TextDecoder().decode(bytes)) as Sketches;
}
