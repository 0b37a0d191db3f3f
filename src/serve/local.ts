/**
 * The socket between the commands and the running daemon: HTTP over a Unix socket that only its owner may open.
 * It needs no sign-in: who can open it can read the record's file as well.
 */
import { chmodSync, rmSync } from 'node:fs';
import Fastify, { type FastifyInstance } from 'fastify';
import * as z from 'zod';
import type { Answer } from '../base/answer.ts';
import { RollcallError } from '../base/errors.ts';
import { servicesCountMax } from '../base/limits.ts';
import { reportAs, reportFormats } from '../report/formats.ts';
import { gatherReport, monthAsked, type ReportSource } from '../report/gather.ts';
import { serveLocalReports } from './job-reports.ts';
import type { JobsSource } from './jobs-source.ts';
import { type Planning, servePlanning } from './local-planning.ts';
import { type LocalTelling, serveLocalTelling } from './local-telling.ts';

export interface Asked {
  readonly answers: readonly Answer[];
  /** Names of those that could not be asked: this machine had no means, or the daemon was stopping. */
  readonly unasked: readonly string[];
}

export interface LocalGiven {
  /** sun_path holds 108 bytes with its NUL (unix(7)). */
  readonly path: string;
  /** Ids of these words (ids or names; none: all), or what is wrong with the words. */
  readonly find: (words: readonly string[]) => {
    readonly ids: readonly string[];
    readonly complaint: string | null;
  };
  /** Asks them through the timetable, and gives back what came. */
  readonly ask: (ids: readonly string[]) => Promise<Asked>;
  readonly health: () => {
    readonly status: 'pass' | 'warn' | 'fail';
    readonly notes: readonly string[];
  };
  readonly telling: LocalTelling;
  /** What a report is made of, as things stand. */
  readonly reportSource: () => ReportSource;
  readonly planning: Planning;
  readonly jobs: JobsSource;
  /** Of the record, to this path; null: where backups go. Rejects with a RollcallError. */
  readonly backUp: (
    to: string | null,
  ) => Promise<{ readonly path: string; readonly sizeBytes: number }>;
}

const socketPathBytesMax = 107;
const reportQuery = z.strictObject({
  month: z.string().max(100).optional(),
  format: z.enum(reportFormats),
});
const backupBody = z.strictObject({ to: z.string().max(4_096).nullable() });
const askBody = z.strictObject({ services: z.array(z.string().max(200)).max(servicesCountMax) });

export async function listenLocally(given: LocalGiven): Promise<FastifyInstance> {
  if (Buffer.byteLength(given.path) > socketPathBytesMax) {
    throw new RollcallError(
      'data-folder-unusable',
      `the path of the data folder is too long for a socket in it: ${given.path} (at most ${socketPathBytesMax} bytes)`,
    );
  }
  // Whoever holds the folder's lock is the only daemon here: what lies there was left by one that was killed.
  rmSync(given.path, { force: true });
  const local = Fastify({ logger: false, forceCloseConnections: true });
  local.get('/health', async (_request, reply) => {
    const health = given.health();
    return reply.code(health.status === 'fail' ? 503 : 200).send(health);
  });
  local.post('/ask', async (request, reply) => {
    const body = askBody.safeParse(request.body);
    if (!body.success) return reply.code(400).send({ detail: 'expected { "services": [names] }' });
    const { ids, complaint } = given.find(body.data.services);
    if (complaint !== null) return reply.code(404).send({ detail: complaint });
    const { answers, unasked } = await given.ask(ids);
    if (unasked.length > 0) {
      return reply.code(503).send({ detail: `could not be asked: ${unasked.join(', ')}` });
    }
    return { answers };
  });
  local.get('/report', async (request, reply) => {
    const query = reportQuery.safeParse(request.query);
    if (!query.success) {
      const forms = reportFormats.join(', ');
      return reply.code(400).send({ detail: `expected a month and a format of ${forms}` });
    }
    const source = given.reportSource();
    const asked = monthAsked(query.data.month ?? null, source);
    if ('complaint' in asked) return reply.code(400).send({ detail: asked.complaint });
    return { report: reportAs(query.data.format, await gatherReport(source, asked.month)) };
  });
  local.post('/backup', async (request, reply) => {
    const body = backupBody.safeParse(request.body);
    if (!body.success) return reply.code(400).send({ detail: 'expected { "to": path or null }' });
    try {
      return await given.backUp(body.data.to);
    } catch (thrown) {
      if (!(thrown instanceof RollcallError)) throw thrown;
      return reply.code(thrown.code === 'usage' ? 400 : 503).send({ detail: thrown.message });
    }
  });
  servePlanning(local, given.planning);
  await serveLocalReports(local, given.jobs);
  serveLocalTelling(local, given.telling);
  await local.listen({ path: given.path });
  chmodSync(given.path, 0o600);
  return local;
}
