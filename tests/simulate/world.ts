/**
 * The world outside of the daemon: services that are really up or down, what they need and what they are seen through,
 * how long they take to answer and how often a packet is lost. It answers for them, at the simulated instant.
 */
import type { Clock } from '../../src/base/clock.ts';
import { meaningOf, type Reason } from '../../src/base/reasons.ts';
import type { Observation, Outcome, Trouble } from '../../src/base/values.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';
import { chance } from './chance.ts';
import { type Condition, type Course, reader } from './course.ts';

export interface SimulatedService {
  readonly id: string;
  readonly everyMs: number;
  readonly timeoutMs: number;
  readonly recheckMs: number;
  readonly confirm: number;
  readonly restore: number;
  readonly unanswered: 'down' | 'unobserved';
  /** Where it does not serve mostly nothing comes back, which decides nothing, as with UDP; else that it is not there. */
  readonly silent: boolean;
  /** Where it does not serve it takes all the time that there is. */
  readonly hangs: boolean;
  readonly needs: readonly string[];
  readonly through: readonly string[];
  readonly course: Course;
  /** Median and spread of the logarithm. */
  readonly latency: { readonly medianMs: number; readonly sigma: number };
  /** Share of exchanges of which nothing comes back. */
  readonly loss: number;
}

export interface Look {
  readonly service: string;
  /** What the daemon was answered. */
  readonly observation: Observation;
}

export interface WorldGiven {
  readonly services: readonly SimulatedService[];
  readonly seed: number;
  /** The world's own time: of a clock that nobody sets. */
  readonly now: () => number;
  /** Each answer as it reaches the daemon. */
  readonly onLook: (look: Look) => void;
}

export interface World {
  /** What a client at the daemon's place would see: behind a gateway that is gone nothing serves. */
  readonly seen: (id: string, at: number) => Condition;
  readonly ask: (id: string, context: ProbeContext) => Promise<Observation>;
}

interface Asked {
  readonly outcome: Outcome;
  readonly reason: Reason | null;
  readonly tookMs: number;
}

export function createWorld(given: WorldGiven): World {
  const seen = sight(given.services);
  const asked = new Map(given.services.map((one) => [one.id, questioner(one, given, seen)]));
  const ends = endings();

  return {
    seen,
    ask: (id, { clock, signal }) => {
      const answer = asked.get(id);
      if (!answer) throw new Error(`no service ${id} in this world`);
      const at = clock.wallMs();
      const { outcome, reason, tookMs } = answer(Math.floor(given.now()));
      return new Promise((resolve) => {
        ends.after({ clock, signal, delayMs: tookMs }, () => {
          const tookUs = Math.round(tookMs * 1_000);
          const phases = { connectUs: tookUs >> 2, answerUs: tookUs - (tookUs >> 2) };
          const observation = {
            at,
            outcome,
            tookUs,
            phases: reason === null ? phases : {},
            trouble: reason === null ? null : troubleOf(reason),
            facts,
          };
          if (!signal.aborted) given.onLook({ service: id, observation });
          resolve(observation);
        });
      });
    },
  };
}

const facts = { serverVersion: '15.18' };

const troubles = new Map<Reason, Trouble>();

/** One object for each reason: there are many failures in a year. */
function troubleOf(reason: Reason): Trouble {
  let trouble = troubles.get(reason);
  if (!trouble) {
    const { layer, sentence, hint } = meaningOf(reason);
    trouble = { layer, reason, detail: sentence, hint };
    troubles.set(reason, trouble);
  }
  return trouble;
}

/** What a service answers to one who asks at this instant. */
function questioner(
  { id, latency, loss, silent, hangs, timeoutMs }: SimulatedService,
  { seed }: WorldGiven,
  seen: World['seen'],
): (at: number) => Asked {
  const luck = chance(seed, id);
  return (at) => {
    const isLost = loss > 0 && luck.next() < loss;
    const condition = isLost ? 'bad' : seen(id, at);
    const tookMs = Math.min(luck.lognormal(latency.medianMs, latency.sigma), timeoutMs);
    if (condition === 'good') return { outcome: 'answered', reason: null, tookMs };
    if (condition === 'poor') return { outcome: 'limited', reason: 'under-load', tookMs };
    if (silent && (isLost || luck.next() < 0.8)) {
      return { outcome: 'unproven', reason: 'silent', tookMs: timeoutMs };
    }
    if (isLost || hangs) return { outcome: 'failed', reason: 'timed-out', tookMs: timeoutMs };
    return { outcome: 'failed', reason: 'refused', tookMs };
  };
}

function sight(services: readonly SimulatedService[]): World['seen'] {
  const known = new Map(
    services.map((service) => [service.id, { service, own: reader(service.course) }]),
  );
  const seen = (id: string, at: number): Condition => {
    const found = known.get(id);
    if (!found) return 'good';
    const { needs, through } = found.service;
    for (const other of needs) if (seen(other, at) === 'bad') return 'bad';
    for (const other of through) if (seen(other, at) === 'bad') return 'bad';
    return found.own(at);
  };
  return seen;
}

/** Alarms that go off at once when the daemon cuts its probes off. */
function endings() {
  const running = new Map<AbortSignal, Set<() => void>>();
  return {
    after: (
      { clock, signal, delayMs }: { clock: Clock; signal: AbortSignal; delayMs: number },
      act: () => void,
    ): void => {
      let acts = running.get(signal);
      if (!acts) {
        acts = new Set();
        running.set(signal, acts);
        // One listener for all of a daemon's life: there are millions of exchanges in a year.
        signal.addEventListener('abort', () => {
          for (const end of [...(running.get(signal) ?? [])]) end();
        });
      }
      const under = acts;
      const end = (): void => {
        if (!under.delete(end)) return;
        act();
      };
      under.add(end);
      clock.after(delayMs, end);
    },
  };
}
