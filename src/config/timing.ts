/** Durations that depend on each other and on the probe's manners. */
import { formatDuration } from '../base/durations.ts';
import type { Manners } from '../probe/settings/declaration.ts';
import type { Finding } from './issues.ts';
import { type Located, memberOf, valueAt } from './located.ts';
import { declarationOf } from './probe-schema.ts';
import { parts, type WrittenDefaults, type WrittenService } from './schema.ts';

export interface Timing {
  readonly everyMs: number;
  readonly timeoutMs: number;
  readonly recheckMs: number;
}

/**
 * What the service says itself stands; what it inherits gives way: to the probe's manners, and to its own interval.
 */
export function timingOf(
  service: WrittenService,
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

/**
 * What does not go together, in services that are valid by themselves: of a misspelt `every` one cannot say that it is
 * shorter than the `timeout`. `value` is the whole file as plain values.
 */
export function timingFindings(root: Located, value: unknown): Finding[] {
  const defaults = parts.defaults.safeParse(memberOf(value, 'defaults') ?? {});
  if (!defaults.success) return [];
  const services = memberOf(value, 'services');
  const findings = defaultsFindings(root, defaults.data);
  if (!Array.isArray(services)) return findings;
  for (const [index, written] of services.entries()) {
    const service = parts.service.safeParse(written);
    if (!service.success) continue;
    const { manners } = declarationOf(service.data.probe);
    for (const { key, message } of serviceFindings(service.data, defaults.data, manners)) {
      findings.push({ path: ['services', index, key], kind: 'value', message });
    }
  }
  return findings;
}

function defaultsFindings(root: Located, { every, timeout }: WrittenDefaults): Finding[] {
  const path = ['defaults', 'timeout'];
  const areWritten = valueAt(root, path) !== null && valueAt(root, ['defaults', 'every']) !== null;
  if (!areWritten || timeout <= every) return [];
  return [{ path, kind: 'value', message: atMostEvery(every) }];
}

interface ServiceFinding {
  readonly key: 'every' | 'timeout' | 'slow';
  readonly message: string;
}

/** Of one service, by the key that is wrong. */
export function serviceFindings(
  service: WrittenService,
  defaults: WrittenDefaults,
  manners: Manners,
): ServiceFinding[] {
  const { everyMs, timeoutMs } = timingOf(service, defaults, manners);
  const found: ServiceFinding[] = [];
  if (service.every !== undefined && service.every < manners.minGapMs) {
    const least = formatDuration(manners.minGapMs);
    const message = `expected at least ${least}: this protocol wants a pause between two questions`;
    found.push({ key: 'every', message });
  }
  if (service.timeout !== undefined && service.timeout > everyMs) {
    found.push({ key: 'timeout', message: atMostEvery(everyMs) });
  }
  if (service.slow !== undefined && service.slow >= timeoutMs) {
    const message = `expected less than ${formatDuration(timeoutMs)}, its \`timeout\`: after that it counts as failed, not as slow`;
    found.push({ key: 'slow', message });
  }
  return found;
}

function atMostEvery(everyMs: number): string {
  return `expected at most ${formatDuration(everyMs)}, as long as \`every\`: one question ends before the next begins`;
}
