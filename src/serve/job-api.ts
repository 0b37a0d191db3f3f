/** Jobs in the API. They are services as well: availability, outages and observations of a job are found under its id there. */
import type { FastifyInstance } from 'fastify';
import type { ZodTypeProvider } from 'fastify-type-provider-zod';
import type { Board } from './board.ts';
import { jobBody, runBody } from './job-bodies.ts';
import * as schemas from './job-schemas.ts';
import { RequestProblem } from './problems.ts';
import { byId, inProblemJson } from './schemas.ts';

const always = { from: 0, to: Number.MAX_SAFE_INTEGER };
const runsCount = 50;

export function serveJobsApi(app: FastifyInstance, board: Board): void {
  const { jobs, record } = board;
  if (!jobs) return;
  const api = app.withTypeProvider<ZodTypeProvider>();
  api.get(
    '/api/v1/jobs',
    {
      schema: {
        summary: 'All jobs: how each stands, when it is due next, and its last run',
        response: { 200: schemas.jobs },
      },
    },
    async () => ({ jobs: board.cards.flatMap((card) => jobBody(jobs, card) ?? []) }),
  );
  api.get(
    '/api/v1/jobs/:id/runs',
    {
      schema: {
        summary: 'Runs of a job, newest first',
        params: byId,
        querystring: schemas.runsQuery,
        response: { 200: schemas.runs, 400: inProblemJson(), 404: inProblemJson() },
      },
    },
    async ({ params: { id }, query: { count = runsCount } }) => {
      if (!jobs.planOf(id)) throw new RequestProblem(404, 'No job with this id is on the roll.');
      const found = await record.runs(id, always, count + 1);
      return { complete: found.length <= count, runs: found.slice(0, count).map(runBody) };
    },
  );
}
