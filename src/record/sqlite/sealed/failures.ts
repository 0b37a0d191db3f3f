/** What stays whole of the failed rows of a block: exact latencies, phases and texts. */
import { phaseNames } from '../stored.ts';
import type { Failures, TroubleText } from './block.ts';
import type { Eye, Pen } from './bytes.ts';

export function writeFailures(head: Pen, failures: Failures): void {
  const { tookUs, phases, trouble, troubles } = failures;
  head.runs(tookUs);
  for (const phase of phases) {
    // 0 is left for a phase that did not happen.
    head.runs(phase.map((us) => us + 1));
  }
  head.number(troubles.length);
  for (const { detail, hint } of troubles) {
    writeText(head, detail);
    writeText(head, hint);
  }
  head.runs(trouble);
}

/** `row`: the places of the failed rows. */
export function readFailures(head: Eye, row: Uint32Array): Failures {
  const latencies = () => head.runs(new Float64Array(row.length), Number.MAX_SAFE_INTEGER);
  const tookUs = latencies();
  const phases = phaseNames.map(() => latencies().map((us) => us - 1));
  const troubles = Array.from({ length: head.number(head.left()) }, () => readTrouble(head));
  const trouble = head.runs(new Uint32Array(row.length), Math.max(troubles.length - 1, 0));
  return { row, tookUs, phases, trouble, troubles };
}

function writeText(head: Pen, text: string | null): void {
  head.number(text === null ? 0 : 1);
  if (text !== null) head.text(text);
}

function readTrouble(head: Eye): TroubleText {
  return { detail: readText(head), hint: readText(head) };
}

function readText(head: Eye): string | null {
  return head.number(1) === 0 ? null : head.text();
}
