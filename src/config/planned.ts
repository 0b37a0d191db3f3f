/** Planned windows from the file as written to rules with instants and ids; and what cannot be said of one entry alone. */
import type { PlannedRule } from '../base/values.ts';
import { instantOf } from '../uptime/calendar.ts';
import type { Finding } from './issues.ts';
import { memberOf } from './located.ts';
import type { WrittenConfig } from './schema.ts';
import { machineTimezone } from './words.ts';

type WrittenPlanned = WrittenConfig['planned'][number];

interface Known {
  readonly id: string;
  readonly group: string | null;
}

export function resolvePlanned(
  written: WrittenPlanned,
  services: readonly Known[],
  boardTimezone: string,
): PlannedRule {
  const zone = written.timezone ?? boardTimezone;
  const rest = {
    name: written.name,
    why: written.why ?? null,
    serviceIds: idsOf(written, services),
  };
  const { schedule, lasts } = written;
  if (schedule !== undefined && lasts !== undefined) {
    return { kind: 'schedule', ...rest, schedule, timezone: zone, lastsMs: lasts };
  }
  const [from, to] = [written.from, written.to].map((text) => instantOf(text ?? '', zone) ?? 0);
  return { kind: 'once', ...rest, from: from ?? 0, to: to ?? 0 };
}

/** What is named by id or by group; null: everything. */
function idsOf({ services, groups }: WrittenPlanned, known: readonly Known[]) {
  if (services === undefined && groups === undefined) return null;
  return known
    .filter(({ id, group }) => {
      return services?.includes(id) || (group !== null && groups?.includes(group));
    })
    .map(({ id }) => id);
}

/** Of the whole file as plain values: whether each end comes after its beginning, on the clock that holds for it. */
export function plannedFindings(value: unknown): Finding[] {
  const entries = memberOf(value, 'planned');
  if (!Array.isArray(entries)) return [];
  const boardZone = memberOf(memberOf(value, 'board'), 'timezone') ?? machineTimezone();
  return entries.flatMap((entry, index): Finding[] => {
    const zone = memberOf(entry, 'timezone') ?? boardZone;
    const [from, to] = [memberOf(entry, 'from'), memberOf(entry, 'to')].map((text) =>
      typeof text === 'string' && typeof zone === 'string' ? instantOf(text, zone) : null,
    );
    if (typeof from !== 'number' || typeof to !== 'number' || from < to) return [];
    const message = 'expected an instant after `from`';
    return [{ path: ['planned', index, 'to'], kind: 'value', message }];
  });
}
