/** The pages: props from the board, rendered on the server. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { type FunctionComponent, h } from 'preact';
import { renderToString } from 'preact-render-to-string';
import { MissingPage } from '../../web/pages/missing.tsx';
import { OutagePage } from '../../web/pages/outage.tsx';
import { RollPage } from '../../web/pages/roll.tsx';
import { ServicePage } from '../../web/pages/service.tsx';
import type { FrameProps } from '../../web/props.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Assets } from './assets.ts';
import type { Board } from './board.ts';
import type { IconState } from './icon.ts';
import { openApiPage, rollPage } from './links.ts';
import { asHeld, outageProps } from './outage-props.ts';
import { type ErrorPage, RequestProblem } from './problems.ts';
import { rollProps } from './roll-props.ts';
import { titleOf, worstOf } from './sentence.ts';
import { serviceProps, stateTitle } from './service-props.ts';
import { standsOf } from './trouble-props.ts';

export function servePages(app: FastifyInstance, board: Board, assets: Assets): void {
  const frame = frameOf(board, assets);

  app.get('/', { schema: { hide: true } }, async (_request, reply) => {
    const stands = standsOf(board);
    const props = await rollProps(board);
    return page(reply, RollPage, {
      ...props,
      frame: frame(titleOf(stands), worstOf(stands) ?? 'new'),
    });
  });

  app.get<{ Params: { id: string } }>(
    '/services/:id',
    { schema: { hide: true } },
    async (request, reply) => {
      const card = board.cardOf(request.params.id);
      if (!card) throw new RequestProblem(404, 'No service of this name is on the roll.');
      const props = await serviceProps(board, card);
      return page(reply, ServicePage, {
        ...props,
        frame: frame(stateTitle(props.name, board.standingOf(card.id)), props.state),
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
      return page(reply, OutagePage, {
        ...props,
        frame: frame(`Outage of ${props.service.name}`, props.state),
      });
    },
  );
}

export function errorPages(board: Board, assets: Assets): ErrorPage {
  const frame = frameOf(board, assets);
  return (_status, title, what) =>
    rendered(MissingPage, { frame: frame(title, 'new'), title: `${title}.`, what });
}

/** The title begins with what matters: a tab shows only its first words. */
function frameOf(board: Board, assets: Assets): (title: string, icon: IconState) => FrameProps {
  const boardTitle = cleanText(board.board.title, nameCharsMax);
  return (title, icon) => ({
    boardTitle,
    home: rollPage(board),
    programs: openApiPage(board),
    title: `${title} · ${boardTitle}`,
    icon: assets.iconHref(icon),
    styleHref: assets.styleHref,
    scriptHref: assets.scriptHref,
    version: board.version,
    zone: board.zone.name,
  });
}

function page<Props extends object>(
  reply: FastifyReply,
  component: FunctionComponent<Props>,
  props: Props,
): FastifyReply {
  return reply.type('text/html; charset=utf-8').send(rendered(component, props));
}

function rendered<Props extends object>(component: FunctionComponent<Props>, props: Props): string {
  return `<!doctype html>${renderToString(h(component, props))}`;
}
