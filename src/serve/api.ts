/** The API (interface §4): what it answers is in `schemas.ts`, how the house's values become that in `bodies.ts`. */
import type { FastifyInstance } from 'fastify';
import type { ZodTypeProvider } from 'fastify-type-provider-zod';
import { instantText } from '../base/instants.ts';
import type { JobState } from '../base/jobs.ts';
import { historyRangeMsMax, outageObservationsCountMax, outagesCountMax } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Board } from './board.ts';
import { availabilityBody, outageBody, outageInFullBody, serviceBody } from './bodies.ts';
import * as figureSchemas from './figure-schemas.ts';
import { groupsBody } from './groups.ts';
import { observationsBody } from './observations.ts';
import { asHeld } from './outage-props.ts';
import { plannedBody, plannedNow } from './planned-now.ts';
import * as plannedSchemas from './planned-schemas.ts';
import { RequestProblem } from './problems.ts';
import { rangeOf } from './ranges.ts';
import { rollSentence } from './roll-props.ts';
import * as schemas from './schemas.ts';
import { countsOf, troubled } from './sentence.ts';
import { standsOf } from './trouble-props.ts';

/** Wrong parameters; no such thing. */
const refusals = { 400: schemas.inProblemJson(), 404: schemas.inProblemJson() };

export function serveApi(app: FastifyInstance, board: Board): void {
  const api = withZod(app);
  api.get(
    '/api/v1/roll',
    { schema: { summary: 'How things are', response: { 200: schemas.roll } } },
    async () => {
      const now = board.clock.wallMs();
      const stands = standsOf(board);
      return {
        at: instantText(now),
        sentence: rollSentence(board, now, stands),
        counts: { ...countsOf(stands) },
        jobs: jobCounts(board),
        trouble: troubled(stands).map(({ id }) => id),
      };
    },
  );
  serveServices(api, board);
  serveHistory(api, board);
  serveOutages(api, board);
  servePlanned(api, board);
}

/** How many jobs stand so. */
function jobCounts({ cards, jobs }: Board): Record<JobState, number> {
  const counts = { due: 0, running: 0, done: 0, failed: 0, overdue: 0, hanging: 0 };
  for (const { id } of cards) if (jobs?.planOf(id)) counts[jobs.standingOf(id).state]++;
  return counts;
}

type Api = ReturnType<typeof withZod>;

function withZod(app: FastifyInstance) {
  return app.withTypeProvider<ZodTypeProvider>();
}

function serveServices(api: Api, board: Board): void {
  api.get(
    '/api/v1/services',
    {
      schema: {
        summary: 'All services, in the order of the roll',
        response: { 200: schemas.services },
      },
    },
    async () => ({
      services: await Promise.all(board.cards.map((card) => serviceBody(board, card))),
    }),
  );

  api.get(
    '/api/v1/services/:id',
    {
      schema: {
        summary: 'One service',
        params: schemas.byId,
        response: { 200: schemas.service, ...refusals },
      },
    },
    async (request) => serviceBody(board, cardOr404(board, request.params.id)),
  );
}

function serveHistory(api: Api, board: Board): void {
  api.get(
    '/api/v1/services/:id/observations',
    {
      schema: {
        summary: 'What a service answered, one by one or by steps of time',
        params: schemas.byId,
        querystring: schemas.observationsQuery,
        response: { 200: schemas.observations, ...refusals },
      },
    },
    async (request) => observationsBody(board, cardOr404(board, request.params.id), request.query),
  );

  api.get(
    '/api/v1/services/:id/availability',
    {
      schema: {
        summary: 'Availability over a window, with its bounds and mean times',
        params: schemas.byId,
        querystring: schemas.rangeQuery,
        response: { 200: figureSchemas.availability, ...refusals },
      },
    },
    async (request) => {
      const card = cardOr404(board, request.params.id);
      const window = rangeOf(request.query, board.clock.wallMs(), historyRangeMsMax);
      const found = await board.figures.availability(card.id, window);
      return availabilityBody(found, card, board.askingOf(card.id));
    },
  );

  api.get(
    '/api/v1/groups',
    {
      schema: {
        summary: 'Availability of groups: the share of time in which all their services were up',
        querystring: schemas.rangeQuery,
        response: { 200: figureSchemas.groups, ...refusals },
      },
    },
    async (request) => {
      const window = rangeOf(request.query, board.clock.wallMs(), historyRangeMsMax);
      return groupsBody(board, window);
    },
  );
}

function serveOutages(api: Api, board: Board): void {
  api.get(
    '/api/v1/outages',
    {
      schema: {
        summary: 'Outages that touch a range, newest first',
        querystring: schemas.outagesQuery,
        response: { 200: schemas.outages, ...refusals },
      },
    },
    async (request) => {
      const { service, ...query } = request.query;
      if (service !== undefined) cardOr404(board, service);
      const range = rangeOf(query, board.clock.wallMs(), historyRangeMsMax);
      const found = await board.record.outages(service ?? null, range, outagesCountMax + 1);
      const held = await Promise.all(
        found.slice(0, outagesCountMax).map((outage) => asHeld(board, outage)),
      );
      return {
        complete: found.length <= outagesCountMax,
        outages: held.map(outageBody),
      };
    },
  );

  api.get(
    '/api/v1/outages/:id',
    {
      schema: {
        summary: 'One outage, with its observations and notices',
        params: schemas.byId,
        response: { 200: schemas.outageInFull, ...refusals },
      },
    },
    async (request) => {
      const found = await board.record.outage(request.params.id);
      if (!found) throw new RequestProblem(404, 'No such outage is in the record.');
      const outage = await asHeld(board, found);
      const range = {
        from: outage.lastGoodAt ?? outage.firstFailedAt,
        to: (outage.restoredAt ?? board.clock.wallMs()) + 1,
      };
      const [observations, reports, notes, knownAt] = await Promise.all([
        board.record.observations(outage.serviceId, range, outageObservationsCountMax),
        board.record.deliveriesOf(outage.id),
        board.record.notes(outage.id),
        board.record.knownAt(outage.id),
      ]);
      return outageInFullBody(outage, observations, { reports, notes, knownAt });
    },
  );
}

function servePlanned(api: Api, board: Board): void {
  api.get(
    '/api/v1/planned',
    {
      schema: {
        summary: 'Planned windows: those that run, to come within 30 days, and past within 30 days',
        response: { 200: plannedSchemas.planned },
      },
    },
    async () => plannedBody(await plannedNow(board)),
  );
}

function cardOr404(board: Board, serviceId: string): ServiceCard {
  const card = board.cardOf(serviceId);
  if (!card) throw new RequestProblem(404, 'No service with this id is on the roll.');
  return card;
}
