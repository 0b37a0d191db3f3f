/** From an exchange to its observation: phases timed on the way, trouble put into words, facts kept within bounds. */
import type { Clock } from '../base/clock.ts';
import { detailCharsMax, factsCountMax } from '../base/limits.ts';
import { meaningOf, type Reason } from '../base/reasons.ts';
import { cleanText } from '../base/text.ts';
import type { Facts, Observation, Phases, Trouble } from '../base/values.ts';

type Phase = 'resolve' | 'connect' | 'secure' | 'speak' | 'answer';

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

interface Begun {
  readonly name: Phase;
  readonly atMs: number;
}

/** Starts the exchange now. */
export function beginCourse(clock: Clock): Course {
  const at = clock.wallMs();
  const startedMs = clock.monotonicMs();
  const begun: Begun[] = [];
  const finish = (found: Trouble | null, facts: LooseFacts): Observation => {
    const nowMs = clock.monotonicMs();
    return {
      at,
      outcome: found ? meaningOf(found.reason).outcome : 'answered',
      tookUs: toUs(nowMs - startedMs),
      phases: phasesOf(begun, nowMs),
      trouble: found,
      facts: boundFacts(facts),
    };
  };

  return {
    phase: (name) => void begun.push({ name, atMs: clock.monotonicMs() }),
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

/** Name by name: by a name that is only known while it runs, V8 would take several times as long, at every answer. */
function phasesOf(begun: readonly Begun[], endedMs: number): Phases {
  const took: { -readonly [name in keyof Phases]: number } = {};
  const resolveUs = spentUs('resolve', begun, endedMs);
  if (resolveUs !== null) took.resolveUs = resolveUs;
  const connectUs = spentUs('connect', begun, endedMs);
  if (connectUs !== null) took.connectUs = connectUs;
  const secureUs = spentUs('secure', begun, endedMs);
  if (secureUs !== null) took.secureUs = secureUs;
  const speakUs = spentUs('speak', begun, endedMs);
  if (speakUs !== null) took.speakUs = speakUs;
  const answerUs = spentUs('answer', begun, endedMs);
  if (answerUs !== null) took.answerUs = answerUs;
  return took;
}

/** In all its times together; null: it never began. Each ends where the next phase begins. */
function spentUs(phase: Phase, begun: readonly Begun[], endedMs: number): number | null {
  let spentMs: number | null = null;
  for (let nth = 0; nth < begun.length; nth++) {
    const one = begun[nth];
    if (one?.name !== phase) continue;
    spentMs = (spentMs ?? 0) + (begun[nth + 1]?.atMs ?? endedMs) - one.atMs;
  }
  return spentMs === null ? null : toUs(spentMs);
}

/** Integer microseconds. */
function toUs(ms: number): number {
  return Math.round(ms * 1_000);
}
