/**
 * `rollcall report`: what a month was like. The running daemon is asked, which also knows what is not written yet;
 * where none runs, the record is read as it was left.
 */
import * as z from 'zod';
import { realClock } from '../base/clock-real.ts';
import { RollcallError } from '../base/errors.ts';
import type { Config } from '../config/resolve.ts';
import { askingsOf, cardsOf } from '../config/roll.ts';
import { readRecord } from '../record/sqlite/read-only.ts';
import { type ReportFormat, reportAs, reportFormats } from '../report/formats.ts';
import { gatherReport, monthAsked, type ReportSource } from '../report/gather.ts';
import { askDaemon } from './daemon-client.ts';
import { configuredWithout } from './without-daemon.ts';

interface ReportGiven {
  readonly month: string | undefined;
  readonly format: string;
  readonly config: string | undefined;
  readonly folder: string;
}

export async function report(given: ReportGiven): Promise<void> {
  const format = formatOf(given.format);
  const written = (await fromDaemon(given, format)) ?? (await fromRecord(given, format));
  process.stdout.write(written);
}

function formatOf(text: string): ReportFormat {
  const format = reportFormats.find((known) => known === text);
  if (format !== undefined) return format;
  throw new RollcallError(
    'usage',
    `no format ${JSON.stringify(text)}: expected one of ${reportFormats.join(', ')}`,
  );
}

const answered = z.object({ report: z.string() });

async function fromDaemon(
  { folder, month, config }: ReportGiven,
  format: ReportFormat,
): Promise<string | null> {
  const query = new URLSearchParams({ ...(month === undefined ? {} : { month }), format });
  const answer = await askDaemon(folder, 'GET', `/report?${query}`);
  if (answer === null) return null;
  const body = answered.safeParse(answer.body);
  if (answer.status !== 200 || !body.success) {
    throw new RollcallError('daemon-absent', `the daemon on ${folder} could not report`);
  }
  const own = config === undefined ? '' : ', with the configuration that it has';
  process.stderr.write(`From the daemon that runs on ${folder}${own}.\n`);
  return body.data.report;
}

async function fromRecord(given: ReportGiven, format: ReportFormat): Promise<string> {
  const { folder } = given;
  const { config } = configuredWithout(given);
  const now = realClock().wallMs();
  const asked = monthAsked(given.month ?? null, { zone: config.board.timezone, now });
  if ('complaint' in asked) throw new RollcallError('usage', asked.complaint);
  const record = readRecord(folder);
  if (record === null) throw new RollcallError('usage', `no daemon has kept a record in ${folder}`);
  try {
    const pulse = await record.lastPulse();
    const until = pulse === null ? '' : `; it ends at ${new Date(pulse.wallMs).toISOString()}`;
    process.stderr.write(`No daemon runs on ${folder}: from its record${until}.\n`);
    const source = sourceOf(config, { record, now, watchedUntil: pulse?.wallMs ?? null });
    return reportAs(format, await gatherReport(source, asked.month));
  } finally {
    record.close();
  }
}

function sourceOf(
  config: Config,
  rest: Pick<ReportSource, 'record' | 'now' | 'watchedUntil'>,
): ReportSource {
  const askings = askingsOf(config);
  return {
    ...rest,
    title: config.board.title,
    zone: config.board.timezone,
    services: cardsOf(config).flatMap((card) => {
      const asking = askings.get(card.id);
      return asking ? [{ card, asking }] : [];
    }),
    // Where nobody watches any more the last failed answer decides nothing.
    openOf: () => null,
  };
}
