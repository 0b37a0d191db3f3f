/**
 * One configuration at work: timetable, rounds, telling, board and socket, joined over the record.
 * A reload stops one and starts the next; the record stays open between them.
 */
import { randomUUID } from 'node:crypto';
import type { AddressInfo } from 'node:net';
import type { FastifyInstance } from 'fastify';
import { type Answer, answerOf } from './base/answer.ts';
import type { Clock } from './base/clock.ts';
import { messageOf, RollcallError } from './base/errors.ts';
import { stopGraceMs } from './base/limits.ts';
import type { Log } from './base/log.ts';
import { maskedObservation } from './base/masked.ts';
import type { Standing } from './base/standing.ts';
import { findServices } from './config/find.ts';
import { type Config, cardOf, type Service } from './config/resolve.ts';
import { reach } from './judge/causes.ts';
import type { Change } from './judge/memory.ts';
import type { Lookup } from './probe/probe.ts';
import { ask } from './probe/registry.ts';
import type { ProbeSettings } from './probe/settings/all.ts';
import { mannersOf } from './probe/settings/manners.ts';
import type { NoticeEdit, Record } from './record/record.ts';
import { Rounds } from './round.ts';
import { Timetable } from './schedule/timetable.ts';
import type { BoardOptions, SelfReport } from './serve/board.ts';
import { healthOf } from './serve/health.ts';
import { type Asked, listenLocally } from './serve/local.ts';
import { createBoard } from './serve/server.ts';
import { type DeliveryRun, startDelivery } from './tell/delivery.ts';
import { createDrafter } from './tell/draft.ts';
import { keepTellState } from './tell/state.ts';
import { webhookSender } from './tell/webhook.ts';

export interface HouseGiven {
  readonly config: Config;
  readonly clock: Clock;
  readonly record: Record;
  readonly log: Log;
  /** Path of the socket for the commands. */
  readonly socket: string;
  readonly version: string;
  /** Takes secrets out of a text. */
  readonly mask: (text: string) => string;
  readonly self: () => SelfReport;
  /** In place of the system's resolver, for the services' names. */
  readonly lookup?: Lookup;
}

/** A moment more than the needs of a service take to be confirmed. */
const holdMarginMs = 1_000;

export class House {
  readonly config: Config;
  readonly #given: HouseGiven;
  readonly #services: ReadonlyMap<string, Service>;
  readonly #rounds: Rounds<ProbeSettings>;
  readonly #timetable: Timetable;
  readonly #stopping = new AbortController();
  readonly #tellState;
  #delivery: DeliveryRun | null = null;
  #board: FastifyInstance | null = null;
  #local: FastifyInstance | null = null;

  constructor(given: HouseGiven) {
    const { config, clock, record, log, mask, lookup } = given;
    this.config = config;
    this.#given = given;
    this.#services = new Map(config.services.map((service) => [service.id, service]));
    this.#tellState = keepTellState(config.tell.map(({ name }) => name));
    const draft = createDrafter({
      cards: new Map(config.services.map((service) => [service.id, cardOf(service)])),
      channels: config.tell,
      newId: randomUUID,
      holdMs: (id) => this.#holdMs(id),
    });
    this.#rounds = new Rounds({
      clock,
      log,
      record,
      ask: async (settings, context) => {
        const observation = await ask(settings, { ...context, ...(lookup && { lookup }) });
        return maskedObservation(observation, mask);
      },
      draft: (change, standingOf) =>
        this.#settled(this.#onTheClock(change, draft(change, standingOf))),
      tell: () => this.#delivery?.wake(),
      signal: this.#stopping.signal,
    });
    this.#timetable = new Timetable({
      clock,
      round: (id) => this.#rounds.round(id),
      onDefect: (service, thrown) =>
        log.error({ service, error: messageOf(thrown) }, 'a round could not be done'),
    });
  }

  /** Where the board answers. */
  get url(): string {
    const address = this.#board?.server.address() as AddressInfo | null | undefined;
    const { host, port } = this.config.board.listen;
    const name = host === '0.0.0.0' || host === '::' ? 'localhost' : host;
    return `http://${name.includes(':') ? `[${name}]` : name}:${address?.port ?? port}/`;
  }

  /** Throws `listen-failed` when an address is taken; what was started before is then to be stopped. */
  async start(): Promise<void> {
    const { record, clock, log, socket } = this.#given;
    await this.#rounds.replace(
      this.config.services.map((service) => ({
        ...service,
        slower: mannersOf(service.probe).slower ?? {},
      })),
    );
    const options = this.#boardOptions();
    this.#board = await this.#openBoard(options);
    this.#local = await listenLocally({
      path: socket,
      find: (words) => {
        const { services, complaint } = findServices(this.config.services, words);
        return { ids: services.map(({ id }) => id), complaint };
      },
      ask: (ids) => this.#askNow(ids),
      health: () => healthOf(options),
    });
    this.#delivery = startDelivery({
      record,
      channels: this.config.tell,
      clock,
      log,
      random: Math.random,
      send: webhookSender({ clock, instanceId: record.instanceId }),
      state: this.#tellState,
    });
    this.#timetable.replace(
      this.config.services.map((service) => ({
        id: service.id,
        everyMs: service.everyMs,
        minGapMs: mannersOf(service.probe).minGapMs,
        waitMs: this.#waitMs(service),
      })),
    );
  }

  /** Running probes may end for two seconds and are cut then; deliveries likewise. */
  async stop(): Promise<void> {
    const cut = this.#given.clock.after(stopGraceMs, () => this.#stopping.abort());
    await Promise.all([this.#timetable.stop(), this.#delivery?.stop()]);
    cut.cancel();
    await Promise.all([this.#board?.close(), this.#local?.close()]);
  }

  #boardOptions(): BoardOptions {
    const { record, clock, log, version, self } = this.#given;
    const { board, services } = this.config;
    return {
      record,
      cards: services.map(cardOf),
      standingOf: (id) => this.#standing(id),
      askingOf: (id) => this.#askingOf(id),
      board,
      hostnames: board.names,
      clock,
      log,
      version,
      self,
      telling: () => this.#tellState.state(),
    };
  }

  async #openBoard(options: BoardOptions): Promise<FastifyInstance> {
    const opened = await createBoard(options);
    const { board } = options;
    try {
      await opened.listen(board.listen);
    } catch (thrown) {
      const { host, port } = board.listen;
      throw new RollcallError(
        'listen-failed',
        `the board cannot listen on ${host}:${port}: ${messageOf(thrown)}`,
        { cause: thrown },
      );
    }
    return opened;
  }

  #service(id: string): Service {
    const service = this.#services.get(id);
    if (!service) throw new Error(`no service ${id}`);
    return service;
  }

  #standing(id: string): Standing {
    const standing = this.#rounds.standingOf(id);
    if (!standing) throw new Error(`no service ${id}`);
    return standing;
  }

  /** Long enough for all that it needs, directly or not, to be asked until they are confirmed. */
  #holdMs(id: string): number {
    const needs = reach(id, (at) => this.#service(at).needs);
    const holds = [...needs].map((needed) => {
      const { confirm, recheckMs, timeoutMs } = this.#service(needed);
      return confirm * (recheckMs + timeoutMs);
    });
    return Math.max(...holds, 0) + holdMarginMs;
  }

  /** What is judged never goes back in time; what is sent goes by the clock as it is, also after that was set back. */
  #onTheClock(change: Change, edits: readonly NoticeEdit[]): readonly NoticeEdit[] {
    const behindMs = Math.max(change.decidedAt - this.#given.clock.wallMs(), 0);
    if (behindMs === 0) return edits;
    return edits.map((edit) => {
      if (edit.kind === 'fold') return edit;
      const { at, notBefore } = edit.notice;
      const notice = { ...edit.notice, at: at - behindMs, notBefore: notBefore - behindMs };
      return { ...edit, notice };
    });
  }

  /** After a boot of this machine nothing is told before things had time to come up; what came up is then silent. */
  #settled(edits: readonly NoticeEdit[]): readonly NoticeEdit[] {
    const leftMs = this.config.settleMs - this.#given.clock.bootMs();
    if (leftMs <= 0) return edits;
    return edits.map((edit) => {
      if (edit.kind !== 'add') return edit;
      const notBefore = Math.max(edit.notice.notBefore, edit.notice.at + Math.ceil(leftMs));
      return { ...edit, notice: { ...edit.notice, notBefore } };
    });
  }

  /** What is left of the least gap since the last answer, which may have been given before a restart. */
  #waitMs({ id, probe }: Service): number {
    const { last } = this.#standing(id);
    const sinceMs = last ? this.#given.clock.wallMs() - last.at : Number.POSITIVE_INFINITY;
    const leftMs = mannersOf(probe).minGapMs - Math.max(sinceMs, 0);
    return Math.max(leftMs, 0);
  }

  #askingOf(id: string) {
    const { everyMs, confirm, recheckMs, timeoutMs } = this.#service(id);
    // From start to start: the recheck pause begins when the failed probe is over.
    return { everyMs, confirm, recheckMs: recheckMs + timeoutMs, timeoutMs };
  }

  /** Only answers that came after the call; a service without one could not be asked. */
  async #askNow(ids: readonly string[]): Promise<Asked> {
    const before = new Map(ids.map((id) => [id, this.#standing(id).last]));
    await Promise.all(ids.map((id) => this.#timetable.askNow(id)));
    const answers: Answer[] = [];
    const unasked: string[] = [];
    for (const id of ids) {
      const { last } = this.#standing(id);
      const service = this.#service(id);
      if (last && last !== before.get(id)) answers.push(answerOf(service, last));
      else unasked.push(service.name);
    }
    return { answers, unasked };
  }
}
