/** The pages: props from the board, rendered on the server. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { FunctionComponent } from 'preact';
import type { FormProps } from '../../web/owner-props.ts';
import { AboutPage } from '../../web/pages/about.tsx';
import { ChannelsPage } from '../../web/pages/channels.tsx';
import { JobPage } from '../../web/pages/job.tsx';
import { MissingPage } from '../../web/pages/missing.tsx';
import { OutagePage } from '../../web/pages/outage.tsx';
import { RefusedPage } from '../../web/pages/refused.tsx';
import { RollPage } from '../../web/pages/roll.tsx';
import { ServicePage } from '../../web/pages/service.tsx';
import type { FrameProps } from '../../web/props.ts';
import { nameCharsMax, noteCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { aboutProps } from './about-props.ts';
import type { Tests } from './acts.ts';
import type { Assets } from './assets.ts';
import type { Board } from './board.ts';
import { channelsProps } from './channels-props.ts';
import { encodingWanted } from './compression.ts';
import { type RollAsked, rollAsked } from './find.ts';
import type { IconState } from './icon.ts';
import { jobProps } from './job-props.ts';
import { laneOf } from './lane-props.ts';
import {
  aboutPage,
  askForm,
  channelsPage,
  feedPath,
  knownForm,
  livePath,
  noteForm,
  openApiPage,
  plannedPage,
  reportPage,
  rollPage,
  servicePage,
  signInPage,
  signOutForm,
} from './links.ts';
import { asHeld, outageProps } from './outage-props.ts';
import { ownProcess } from './own-process.ts';
import { servePlanned } from './planned-pages.ts';
import { type ErrorPage, RequestProblem } from './problems.ts';
import { htmlOf } from './render.ts';
import { serveReports } from './report-pages.ts';
import { workRollOutAhead } from './roll-ahead.ts';
import { rollKeeper } from './roll-html.ts';
import { rollProps } from './roll-props.ts';
import { titleOf, worstOf } from './sentence.ts';
import { lengthAsked } from './service-chart.ts';
import { serviceProps, stateTitle } from './service-props.ts';
import { standsOf } from './trouble-props.ts';

interface PagesGiven {
  readonly board: Board;
  readonly assets: Assets;
  readonly tests: Tests;
}

export function servePages(app: FastifyInstance, { board, assets, tests }: PagesGiven): void {
  const frame = frameOf(board, assets);
  serveAbout(app, board, frame);
  serveJobs(app, board, frame);
  servePlanned(app, { board, frame: (request, title) => frame(request, title, 'new'), formOf });
  serveReports(app, { board, frame: (request, title) => frame(request, title, 'new') });

  app.get('/channels', { schema: { hide: true } }, async (request, reply) =>
    page(reply, ChannelsPage, {
      ...channelsProps(board, tests, request.viewer),
      frame: frame(request, 'Channels', 'new'),
    }),
  );

  serveRoll(app, board, frame);

  app.get<{ Params: { id: string } }>(
    '/services/:id',
    { schema: { hide: true } },
    async (request, reply) => {
      const card = board.cardOf(request.params.id);
      if (!card) throw new RequestProblem(404, 'No service of this name is on the roll.');
      if (board.jobs?.planOf(card.id)) return reply.redirect(servicePage(board, card.id), 303);
      const props = await serviceProps(board, card, lengthAsked(request.query));
      return page(reply, ServicePage, {
        ...props,
        ask: board.acts ? formOf(request, askForm(board, card.id)) : null,
        frame: frame(request, stateTitle(props.name, board.standingOf(card.id)), props.state),
      });
    },
  );

  app.get<{ Params: { id: string } }>(
    '/outages/:id',
    { schema: { hide: true } },
    async (request, reply) => {
      const outage = await board.record.outage(request.params.id);
      if (!outage) throw new RequestProblem(404, 'No such outage is in the record.');
      const props = await outageProps(board, await asHeld(board, outage));
      const note = formOf(request, noteForm(board, outage.id));
      return page(reply, OutagePage, {
        ...props,
        addNote: note && { ...note, charsMax: noteCharsMax },
        know:
          props.known === null && outage.restoredAt === null
            ? formOf(request, knownForm(board, outage.id))
            : null,
        frame: frame(request, `Outage of ${props.service.name}`, props.state),
      });
    },
  );
}

function serveRoll(app: FastifyInstance, board: Board, frame: MakeFrame): void {
  const keptRoll = rollKeeper(board);
  const render = async (viewed: Viewed, asked: RollAsked) => {
    const stands = standsOf(board);
    const props = await rollProps(board, asked, stands);
    return htmlOf(RollPage, {
      ...props,
      frame: frame(viewed, titleOf(stands), worstOf(stands) ?? 'new'),
    });
  };
  app.get('/', { schema: { hide: true } }, async (request, reply) => {
    const asked = rollAsked(request.query);
    const isOwners = request.viewer.kind === 'owner';
    reply.type('text/html; charset=utf-8');
    if (isOwners) return reply.send(await render(request, asked));
    const kept = await keptRoll(asked, () => render(request, asked));
    const encoding = encodingWanted(request.headers['accept-encoding']);
    if (encoding === null) return reply.send(kept.bytes);
    reply.headers({ 'content-encoding': encoding, vary: 'accept-encoding' });
    return reply.send(await kept.as(encoding));
  });
  const { cards, clock } = board;
  workRollOutAhead(app, {
    board,
    lane: async (card) => {
      const now = clock.wallMs();
      return laneOf(board, card, { now, today: board.zone.day(now), cards });
    },
    roll: () => render({ viewer: { kind: 'anyone' } }, rollAsked({})),
  });
}

function serveJobs(app: FastifyInstance, board: Board, frame: MakeFrame): void {
  app.get<{ Params: { id: string } }>(
    '/jobs/:id',
    { schema: { hide: true } },
    async (request, reply) => {
      const card = board.cardOf(request.params.id);
      const props = card && (await jobProps(board, card));
      if (!props) throw new RequestProblem(404, 'No job of this name is on the roll.');
      const { sentence, state } = props;
      const title = sentence.replace(/\.$/, '');
      return page(reply, JobPage, { ...props, frame: frame(request, title, state) });
    },
  );
}

function serveAbout(app: FastifyInstance, board: Board, frame: MakeFrame): void {
  app.get('/about', { schema: { hide: true } }, async (request, reply) => {
    const props = aboutProps(board, ownProcess());
    const icon = worstOf(standsOf(board)) ?? 'new';
    return page(reply, AboutPage, { ...props, frame: frame(request, 'Rollcall itself', icon) });
  });
}

/** For who is signed in. */
function formOf({ viewer }: FastifyRequest, action: string): FormProps | null {
  return viewer.kind === 'owner' ? { action, token: viewer.formToken() } : null;
}

export function errorPages(board: Board, assets: Assets): ErrorPage {
  const frame = frameOf(board, assets);
  return (request, { title, detail }) => {
    // Set by a hook: a request that was refused before has none, and then nothing of the board is shown either.
    const { kind } = request.viewer ?? { kind: 'stranger' };
    if (kind === 'stranger') {
      const bare = { icon: assets.iconHref('new'), styleHref: assets.styleHref };
      const signIn = signInPage(board, null);
      return htmlOf(RefusedPage, { ...bare, title: `${title}.`, what: detail, signIn });
    }
    const props = { frame: frame(request, title, 'new'), title: `${title}.`, what: detail };
    return htmlOf(MissingPage, props);
  };
}

type Viewed = Pick<FastifyRequest, 'viewer'>;
type MakeFrame = (request: Viewed, title: string, icon: IconState) => FrameProps;

/** The title begins with what matters: a tab shows only its first words. */
function frameOf(board: Board, assets: Assets): MakeFrame {
  const boardTitle = cleanText(board.board.title, nameCharsMax);
  return ({ viewer }, title, icon) => ({
    boardTitle,
    home: rollPage(board),
    programs: openApiPage(board),
    ways: [
      { name: 'Roll', href: rollPage(board) },
      { name: 'Month', href: reportPage(board, null) },
      ...(board.planned ? [{ name: 'Planned', href: plannedPage(board) }] : []),
      { name: 'About', href: aboutPage(board) },
    ],
    title: `${title} · ${boardTitle}`,
    icon: assets.iconHref(icon),
    styleHref: assets.styleHref,
    scriptHref: assets.scriptHref,
    feed: feedPath(board),
    live: board.listen ? livePath(board) : null,
    version: board.version,
    zone: board.zone.name,
    owner:
      viewer.kind === 'owner'
        ? {
            signOut: { action: signOutForm(board), token: viewer.formToken() },
            channels: channelsPage(board),
          }
        : null,
  });
}

function page<Props extends object>(
  reply: FastifyReply,
  component: FunctionComponent<Props>,
  props: Props,
): FastifyReply {
  return reply.type('text/html; charset=utf-8').send(htmlOf(component, props));
}
