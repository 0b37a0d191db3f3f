/** Durations that depend on each other and on the probe's manners. */
import * as z from 'zod';
import { formatDuration } from '../base/durations.ts';
import type { Manners } from '../probe/settings/declaration.ts';
import type { Finding } from './issues.ts';
import { memberOf } from './located.ts';
import { declarationMeant } from './probe-schema.ts';
import { parts, type WrittenDefaults, type WrittenService } from './schema.ts';

export interface Timing {
  readonly everyMs: number;
  readonly timeoutMs: number;
  readonly recheckMs: number;
}

/** What a service, or all of them, may say itself. */
type OwnDurations = Pick<WrittenService, 'every' | 'timeout' | 'recheck' | 'slow'>;

const { every, timeout, slow } = parts.service.shape;

/** Reads of a block the durations that are valid, whatever else is wrong in it. */
const ownDurations = z.object({
  every: every.catch(undefined),
  timeout: timeout.catch(undefined),
  slow: slow.catch(undefined),
});

/**
 * What the service says itself stands; what it inherits gives way: to the probe's manners, and to its own interval.
 */
export function timingOf(
  service: OwnDurations,
  defaults: WrittenDefaults,
  { minGapMs }: Manners,
): Timing {
  const everyMs = service.every ?? Math.max(defaults.every, minGapMs);
  return {
    everyMs,
    timeoutMs: service.timeout ?? Math.min(defaults.timeout, everyMs),
    recheckMs: Math.max(service.recheck ?? Math.min(defaults.recheck, everyMs), minGapMs),
  };
}

/** What does not go together. `value` is the whole file as plain values. */
export function timingFindings(value: unknown): Finding[] {
  const written = memberOf(value, 'defaults');
  const defaults = parts.defaults.safeParse(written ?? {}).data ?? null;
  const services = memberOf(value, 'services');
  const findings = defaultsFindings(ownDurations.safeParse(written).data ?? {});
  if (!Array.isArray(services)) return findings;
  for (const [index, service] of services.entries()) {
    for (const { key, message } of writtenServiceFindings(service, defaults)) {
      findings.push({ path: ['services', index, key], kind: 'value', message });
    }
  }
  return findings;
}

function defaultsFindings({ every, timeout }: OwnDurations): Finding[] {
  if (every === undefined || timeout === undefined || timeout <= every) return [];
  return [{ path: ['defaults', 'timeout'], kind: 'value', message: atMostEvery(every) }];
}

interface ServiceFinding {
  readonly key: 'every' | 'timeout' | 'slow';
  readonly message: string;
}

/** Beside another mistake it is open what is inherited: its key may be the one that is misspelt. */
function writtenServiceFindings(
  written: unknown,
  defaults: WrittenDefaults | null,
): ServiceFinding[] {
  const isValid = parts.service.safeParse(written).success;
  const own = ownDurations.safeParse(written).data ?? {};
  const manners = declarationMeant(memberOf(written, 'probe'))?.manners ?? { minGapMs: 0 };
  return serviceFindings(own, isValid ? defaults : null, manners);
}

/** Of one service, by the key that is wrong. Without `defaults` only what it says itself is compared. */
export function serviceFindings(
  own: OwnDurations,
  defaults: WrittenDefaults | null,
  manners: Manners,
): ServiceFinding[] {
  const { everyMs = Number.POSITIVE_INFINITY, timeoutMs = Number.POSITIVE_INFINITY } =
    defaults === null
      ? { everyMs: own.every, timeoutMs: own.timeout }
      : timingOf(own, defaults, manners);
  const found: ServiceFinding[] = [];
  if (own.every !== undefined && own.every < manners.minGapMs) {
    const least = formatDuration(manners.minGapMs);
    const message = `expected at least ${least}: this protocol wants a pause between two questions`;
    found.push({ key: 'every', message });
  }
  if (own.timeout !== undefined && own.timeout > everyMs) {
    found.push({ key: 'timeout', message: atMostEvery(everyMs) });
  }
  if (own.slow !== undefined && own.slow >= timeoutMs) {
    const message = `expected less than ${formatDuration(timeoutMs)}, its \`timeout\`: after that it counts as failed, not as slow`;
    found.push({ key: 'slow', message });
  }
  return found;
}

function atMostEvery(everyMs: number): string {
  return `expected at most ${formatDuration(everyMs)}, as long as \`every\`: one question ends before the next begins`;
}
