/**
 * The report as a table for spreadsheets (RFC 4180): a row for each service, then for each group, then for all together.
 * Units stand in the headers; shares are of one, and empty where nothing was required.
 */
import { instantText } from '../base/instants.ts';
import type { GroupAvailability } from '../uptime/groups.ts';
import type { MonthReport, ReportedService } from './month.ts';

/** Null: an empty cell. */
type Cell = string | number | null;

/** A row's cells by their headers; the headers are those of the first row, and every row has all of them. */
type Row = Readonly<Record<(typeof headers)[number], Cell>>;

const headers = [
  'month',
  'kind',
  'id',
  'name',
  'group',
  'from (UTC)',
  'until (UTC)',
  'complete',
  'availability (share)',
  'lowest (share)',
  'highest (share)',
  'mean of services (share)',
  'up (s)',
  'of that degraded (s)',
  'down (s)',
  'of that behind another (s)',
  'unobserved (s)',
  'planned (s)',
  'outages',
  'unconfirmed failures',
  'mean time to restoration (s)',
  'mean time between failures (s)',
  'between failures, lower bound (s)',
  'between failures, upper bound (s)',
  'mean time to notice (s)',
  'longest outage (s)',
  'shortest outage (s)',
  'surely seen from (s)',
  'objective (share)',
  'budget allowed (s)',
  'budget left (s)',
  'burn rate',
] as const;

export function reportCsv(report: MonthReport): string {
  const { month, from, until, over, services, groups, totals } = report;
  const common = {
    month,
    'from (UTC)': instantText(from),
    'until (UTC)': instantText(until),
    complete: over ? 'yes' : 'no',
  };
  const rows: readonly Row[] = [
    ...services.map((service) => ({ ...common, ...serviceCells(service) })),
    ...groups.map(({ name, figures }) => ({
      ...groupCells(figures),
      ...common,
      ...{ kind: 'group', name, group: name },
    })),
    { ...groupCells(totals.together), ...common, kind: 'all', outages: totals.outages },
  ];
  const lines = [headers, ...rows.map((row) => headers.map((header) => row[header]))];
  return lines.map((cells) => `${cells.map(written).join(',')}\r\n`).join('');
}

function serviceCells(
  service: ReportedService,
): Omit<Row, 'month' | 'from (UTC)' | 'until (UTC)' | 'complete'> {
  const { id, name, group, figures, budget, surelySeenMs } = service;
  return {
    ...{ kind: 'service', id, name, group },
    'availability (share)': figures.estimate,
    'lowest (share)': figures.low,
    'highest (share)': figures.high,
    'mean of services (share)': null,
    'up (s)': seconds(figures.upMs + figures.degradedMs),
    'of that degraded (s)': seconds(figures.degradedMs),
    'down (s)': seconds(figures.downMs),
    'of that behind another (s)': seconds(figures.externallyDisabledMs),
    'unobserved (s)': seconds(figures.unobservedMs),
    'planned (s)': seconds(figures.plannedMs),
    outages: figures.outages,
    'unconfirmed failures': figures.unconfirmed,
    'mean time to restoration (s)': seconds(figures.mttrMs),
    'mean time between failures (s)': seconds(figures.mtbfMs),
    'between failures, lower bound (s)': seconds(figures.mtbfBounds?.lowMs ?? null),
    'between failures, upper bound (s)': seconds(figures.mtbfBounds?.highMs ?? null),
    'mean time to notice (s)': seconds(figures.detectionDelayMs),
    'longest outage (s)': seconds(figures.longest?.lengthMs ?? null),
    'shortest outage (s)': seconds(figures.shortest?.lengthMs ?? null),
    'surely seen from (s)': seconds(surelySeenMs),
    'objective (share)': budget?.objective ?? null,
    'budget allowed (s)': seconds(budget?.allowedMs ?? null),
    'budget left (s)': seconds(budget?.leftMs ?? null),
    'burn rate': budget?.burnRate ?? null,
  };
}

const empty = Object.fromEntries(headers.map((header) => [header, null])) as Row;

function groupCells(figures: GroupAvailability): Row {
  return {
    ...empty,
    'availability (share)': figures.estimate,
    'lowest (share)': figures.low,
    'highest (share)': figures.high,
    'mean of services (share)': figures.mean,
    'up (s)': seconds(figures.upMs),
    'down (s)': seconds(figures.downMs),
    'unobserved (s)': seconds(figures.unobservedMs),
    'planned (s)': seconds(figures.plannedMs),
  };
}

/** To the millisecond. */
function seconds(ms: number | null): number | null {
  return ms === null ? null : Math.round(ms) / 1_000;
}

/** RFC 4180 §2: in quotes where a comma, a quote or a line break stands in it, quotes doubled. */
function written(cell: Cell): string {
  const text = cell === null ? '' : String(cell);
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
