/** The report of a month: as a page, and for programs. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { ReportPage } from '../../web/pages/report.tsx';
import type { FrameProps } from '../../web/props.ts';
import { reportAs } from '../report/formats.ts';
import { gatherReport, monthAsked } from '../report/gather.ts';
import type { MonthReport } from '../report/month.ts';
import { sayMonth } from '../report/words.ts';
import type { Board } from './board.ts';
import { reportPage } from './links.ts';
import { RequestProblem } from './problems.ts';
import { htmlOf } from './render.ts';
import { reportProps } from './report-props.ts';
import { reportSourceOf } from './report-source.ts';

interface ReportGiven {
  readonly board: Board;
  readonly frame: (request: FastifyRequest, title: string) => FrameProps;
}

/** By the ending of the address. */
const files = {
  csv: 'text/csv; charset=utf-8',
  json: 'application/json; charset=utf-8',
} as const;

export function serveReports(app: FastifyInstance, { board, frame }: ReportGiven): void {
  app.get('/report', { schema: { hide: true } }, async (_request, reply) => {
    const source = reportSourceOf(board);
    const asked = monthAsked(null, source);
    if ('complaint' in asked) throw new Error(asked.complaint);
    return reply.redirect(reportPage(board, asked.month), 303);
  });

  app.get<{ Params: { name: string } }>(
    '/report/:name',
    { schema: { hide: true } },
    async (request, reply) => {
      const [, month = '', ending = ''] =
        /^([^.]*)(?:\.(csv|json))?$/.exec(request.params.name) ?? [];
      const report = await reportOf(board, month);
      if (ending === 'csv' || ending === 'json') return sendFile(reply, report, ending);
      const title = sayMonth(month);
      return reply
        .type('text/html; charset=utf-8')
        .send(htmlOf(ReportPage, { ...reportProps(board, report), frame: frame(request, title) }));
    },
  );
}

async function reportOf(board: Board, month: string): Promise<MonthReport> {
  const source = reportSourceOf(board);
  const asked = monthAsked(month, source);
  if ('complaint' in asked) throw new RequestProblem(404, `No such report: ${asked.complaint}.`);
  return gatherReport(source, asked.month);
}

function sendFile(
  reply: FastifyReply,
  report: MonthReport,
  format: keyof typeof files,
): FastifyReply {
  return reply
    .type(files[format])
    .header('content-disposition', `attachment; filename="rollcall-${report.month}.${format}"`)
    .serializer(String)
    .send(reportAs(format, report));
}
