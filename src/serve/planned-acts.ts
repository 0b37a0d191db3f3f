/** The owner's forms of planned work: declare a window, end one. */
import type { FastifyInstance } from 'fastify';
import { parseDurationMs } from '../base/durations.ts';
import { RollcallError } from '../base/errors.ts';
import { plannedWhyCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { instantOf } from '../uptime/calendar.ts';
import type { Limit } from './acts.ts';
import type { Board, PlannedSource } from './board.ts';
import { ownerFieldsOf } from './forms.ts';
import { plannedPage } from './links.ts';
import { RequestProblem } from './problems.ts';

export function servePlanning(app: FastifyInstance, board: Board, limit: Limit): void {
  const { planned, log } = board;
  if (!planned) return;
  app.post('/planned', { schema: { hide: true } }, async (request, reply) => {
    const { fields } = ownerFieldsOf(request);
    limit('plan');
    const window = await orProblem(() => planned.plan(askedIn(board, fields)));
    log.info({ planned: window.id, from: window.from, to: window.to }, 'the owner plans work');
    return reply.redirect(plannedPage(board), 303);
  });
  app.post<{ Params: { id: string } }>(
    '/planned/:id/end',
    { schema: { hide: true } },
    async (request, reply) => {
      ownerFieldsOf(request);
      const { id } = request.params;
      limit(`end ${id}`);
      await orProblem(() => planned.end(id));
      log.info({ planned: id }, 'the owner ends planned work');
      return reply.redirect(plannedPage(board), 303);
    },
  );
}

type Asked = Parameters<PlannedSource['plan']>[0];

/** `from` and `to` on the clock of the board; without `from` from now on, for the duration of `lasts`. */
function askedIn(board: Board, fields: URLSearchParams): Asked {
  const now = board.clock.wallMs();
  const from = instantIn(board, fields.get('from') ?? '') ?? now;
  const to = instantIn(board, fields.get('to') ?? '') ?? from + lastsMsIn(fields);
  if (to <= from) throw new RequestProblem(400, 'It has to end after it begins.');
  if (to <= now) throw new RequestProblem(400, 'That is over already.');
  const why = cleanText(fields.get('why') ?? '', plannedWhyCharsMax);
  const ids = fields.getAll('service');
  if (ids.some((id) => !board.cardOf(id))) {
    throw new RequestProblem(404, 'No service of this name is on the roll.');
  }
  return { why: why === '' ? null : why, from, to, serviceIds: ids.length === 0 ? null : ids };
}

function instantIn(board: Board, text: string): number | null {
  if (text.trim() === '') return null;
  const at = instantOf(text.trim(), board.zone.name);
  if (at === null) throw new RequestProblem(400, 'Expected a day and a time: 2026-12-05 20:00.');
  return at;
}

function lastsMsIn(fields: URLSearchParams): number {
  const lastsMs = parseDurationMs(fields.get('lasts') ?? '');
  if (lastsMs === null) throw new RequestProblem(400, 'Expected how long it lasts: 45m, or 2h.');
  return lastsMs;
}

async function orProblem<Value>(work: () => Promise<Value>): Promise<Value> {
  try {
    return await work();
  } catch (thrown) {
    if (!(thrown instanceof RollcallError && thrown.code === 'usage')) throw thrown;
    throw new RequestProblem(400, thrown.message);
  }
}
