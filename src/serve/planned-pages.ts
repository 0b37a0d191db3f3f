/** The page of planned work: what runs, what is to come, what was; and the forms of who is signed in. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import type { FormProps } from '../../web/owner-props.ts';
import { PlannedPage } from '../../web/pages/planned.tsx';
import type { FrameProps } from '../../web/props.ts';
import type { PlannedPageProps, PlannedWindowProps } from '../../web/props-planned.ts';
import { nameCharsMax, plannedWhyCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { PlannedWindow } from '../base/values.ts';
import type { Board } from './board.ts';
import { endPlannedForm, namedService, plannedFile, plannedPage } from './links.ts';
import { type PlannedNow, plannedNow } from './planned-now.ts';
import { htmlOf } from './render.ts';
import { sayCount, sayLasting } from './zone.ts';

interface PlannedGiven {
  readonly board: Board;
  readonly frame: (request: FastifyRequest, title: string) => FrameProps;
  /** Null: nobody is signed in. */
  readonly formOf: (request: FastifyRequest, action: string) => FormProps | null;
}

export function servePlanned(app: FastifyInstance, { board, frame, formOf }: PlannedGiven): void {
  if (!board.planned) return;
  app.get('/planned', { schema: { hide: true } }, async (request, reply) => {
    const found = await plannedNow(board);
    const props: PlannedPageProps = {
      ...plannedProps(board, found, (action) => formOf(request, action)),
      frame: frame(request, 'Planned work'),
    };
    return reply.type('text/html; charset=utf-8').send(htmlOf(PlannedPage, props));
  });
}

function plannedProps(
  board: Board,
  { running, toCome, past }: PlannedNow,
  formTo: (action: string) => FormProps | null,
): Omit<PlannedPageProps, 'frame'> {
  const now = board.clock.wallMs();
  const form = formTo(plannedPage(board));
  const windowOf = (window: PlannedWindow, isOpen: boolean): PlannedWindowProps => ({
    ...windowProps(board, window, now),
    end: isOpen ? formTo(endPlannedForm(board, window.id)) : null,
  });
  return {
    now: board.zone.whole(now),
    sentence: sentenceOf(running.length, toCome.length),
    running: running.map((window) => windowOf(window, true)),
    toCome: toCome.map((window) => windowOf(window, window.origin === 'declared')),
    past: past.map((window) => windowOf(window, false)),
    file: plannedFile(board),
    plan: form && {
      ...form,
      whyCharsMax: plannedWhyCharsMax,
      zone: board.zone.name,
      services: board.cards.map(({ id, name }) => ({ id, name: cleanText(name, nameCharsMax) })),
    },
  };
}

function sentenceOf(runningCount: number, toComeCount: number): string {
  const runs =
    runningCount === 0
      ? 'No planned work is under way'
      : `${sayCount(runningCount, 'planned window')} ${runningCount === 1 ? 'is' : 'are'} under way`;
  return `${runs}; ${sayCount(toComeCount, 'window')} to come within thirty days.`;
}

function windowProps(board: Board, window: PlannedWindow, now: number) {
  const { id, name, why, from, to, serviceIds } = window;
  return {
    id,
    name: cleanText(name, nameCharsMax),
    why: why === null ? null : cleanText(why, plannedWhyCharsMax),
    from: board.zone.moment(from, now),
    to: board.zone.moment(to, now),
    lasting: sayLasting(to - from),
    services: serviceIds === null ? null : serviceIds.map((one) => namedService(board, one)),
  };
}
