/** From an exchange to its observation: phases timed on the way, trouble put into words, facts kept within bounds. */
import type { Clock } from '../base/clock.ts';
import { detailCharsMax, factsCountMax } from '../base/limits.ts';
import { meaningOf, type Reason } from '../base/reasons.ts';
import { cleanText } from '../base/text.ts';
import type { Facts, Observation, Phases, Trouble } from '../base/values.ts';

/** In their order, with the name under which an observation has them. */
const phases = [
  ['resolve', 'resolveUs'],
  ['connect', 'connectUs'],
  ['secure', 'secureUs'],
  ['speak', 'speakUs'],
  ['answer', 'answerUs'],
] as const;
type Phase = (typeof phases)[number][0];

/** What a probe found out; what does not apply is left undefined and drops out. */
export type LooseFacts = Readonly<Record<string, string | number | boolean | null | undefined>>;

/** One exchange under way. */
export interface Course {
  /** Ends the phase that runs and begins this one; a phase entered again goes on counting. */
  phase(name: Phase): void;
  /** The service would serve an ordinary client. */
  answered(facts?: LooseFacts): Observation;
  /** It would not, or with reservations: the reason's outcome (base/reasons.ts) decides. */
  troubled(found: Trouble, facts?: LooseFacts): Observation;
}

/** Starts the exchange now. */
export function beginCourse(clock: Clock): Course {
  const at = clock.wallMs();
  const startedMs = clock.monotonicMs();
  const spentMs: Partial<Record<Phase, number>> = {};
  let running: { name: Phase; sinceMs: number } | null = null;

  const endPhase = (nowMs: number) => {
    if (running) spentMs[running.name] = (spentMs[running.name] ?? 0) + nowMs - running.sinceMs;
    running = null;
  };
  const finish = (found: Trouble | null, facts: LooseFacts): Observation => {
    const nowMs = clock.monotonicMs();
    endPhase(nowMs);
    return {
      at,
      outcome: found ? meaningOf(found.reason).outcome : 'answered',
      tookUs: toUs(nowMs - startedMs),
      phases: phasesOf(spentMs),
      trouble: found,
      facts: boundFacts(facts),
    };
  };

  return {
    phase: (name) => {
      const nowMs = clock.monotonicMs();
      endPhase(nowMs);
      running = { name, sinceMs: nowMs };
    },
    answered: (facts = {}) => finish(null, facts),
    troubled: (found, facts = {}) => finish(found, facts),
  };
}

/**
 * A trouble from its reason. `detail` completes "<service> is down: …" (no capital, no full stop) with the values
 * seen; without it, and without a `hint`, the table's own words stand.
 */
export function trouble(reason: Reason, detail?: string, hint?: string): Trouble {
  const meaning = meaningOf(reason);
  return {
    layer: meaning.layer,
    reason,
    detail: cleanText(detail ?? meaning.sentence, detailCharsMax),
    hint: hint ?? meaning.hint,
  };
}

/** Bounded in number and length, stripped of control characters; what is undefined, null or not finite drops out. */
function boundFacts(loose: LooseFacts): Facts {
  const facts: Record<string, string | number | boolean> = {};
  let count = 0;
  for (const name of Object.keys(loose)) {
    const value = loose[name];
    if (value === undefined || value === null) continue;
    if (typeof value === 'number' && !Number.isFinite(value)) continue;
    if (++count > factsCountMax) break;
    facts[name] = typeof value === 'string' ? cleanText(value) : value;
  }
  return facts;
}

function phasesOf(spentMs: Partial<Record<Phase, number>>): Phases {
  const took: { -readonly [name in keyof Phases]: number } = {};
  for (const [name, nameUs] of phases) {
    const ms = spentMs[name];
    if (ms !== undefined) took[nameUs] = toUs(ms);
  }
  return took;
}

/** Integer microseconds. */
function toUs(ms: number): number {
  return Math.round(ms * 1_000);
}
