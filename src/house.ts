/**
 * One configuration at work: the watch, the board and the socket, joined over the record.
 * A reload stops one and starts the next; the record stays open between them.
 */
import { randomUUID } from 'node:crypto';
import type { AddressInfo } from 'node:net';
import type { FastifyInstance } from 'fastify';
import { type Answer, answerOf } from './base/answer.ts';
import type { Clock } from './base/clock.ts';
import { messageOf, RollcallError } from './base/errors.ts';
import { type Happenings, happenings } from './base/happenings.ts';
import type { Log } from './base/log.ts';
import { maskedObservation } from './base/masked.ts';
import type { ServiceCard } from './base/values.ts';
import { findServices } from './config/find.ts';
import { type Channel, type Config, cardOf, type Service } from './config/resolve.ts';
import { askingsOf, cardsOf } from './config/roll.ts';
import { type HouseJobs, houseJobs, type JobSettings } from './house-jobs.ts';
import { type HouseNews, startHouseNews } from './house-news.ts';
import { type HouseTelling, houseTelling } from './house-telling.ts';
import { Planned } from './planned.ts';
import { planningOf } from './planning.ts';
import type { Lookup } from './probe/probe.ts';
import { ask } from './probe/registry.ts';
import type { ProbeSettings } from './probe/settings/all.ts';
import { mannersOf } from './probe/settings/manners.ts';
import type { Record } from './record/record.ts';
import type { BoardOptions, SelfReport } from './serve/board.ts';
import { boardKeyIn } from './serve/board-key.ts';
import { healthOf } from './serve/health.ts';
import { createHousehold } from './serve/household.ts';
import { type Asked, type LocalGiven, listenLocally } from './serve/local.ts';
import { reportSourceOf } from './serve/report-source.ts';
import { createBoard } from './serve/server.ts';
import { Watch, type WatchedService } from './watch.ts';

export interface HouseGiven {
  readonly config: Config;
  readonly clock: Clock;
  readonly record: Record;
  readonly log: Log;
  /** The data folder, which is there. */
  readonly folder: string;
  /** Path of the socket for the commands. */
  readonly socket: string;
  readonly version: string;
  /** Takes secrets out of a text. */
  readonly mask: (text: string) => string;
  readonly self: () => Omit<SelfReport, 'lateness' | 'pulse'>;
  /** Of the record, to this path; null: where backups go. Rejects with a RollcallError. */
  readonly backUp: LocalGiven['backUp'];
  /** In place of the system's resolver, for the services' names. */
  readonly lookup?: Lookup;
}

export class House {
  readonly config: Config;
  readonly #given: HouseGiven;
  readonly #services: ReadonlyMap<string, Service>;
  readonly #watch: Watch<ProbeSettings | JobSettings, Channel>;
  readonly #jobs: HouseJobs;
  readonly #cards: readonly ServiceCard[];
  readonly #planned: Planned;
  readonly #happenings: Happenings;
  readonly #telling: HouseTelling;
  /** Aborted when this house stops. */
  readonly #stopping = new AbortController();
  #news: HouseNews | null = null;
  #board: FastifyInstance | null = null;
  #household: FastifyInstance | null = null;
  #local: FastifyInstance | null = null;

  constructor(given: HouseGiven) {
    const { config, clock, record, log, mask, lookup } = given;
    this.config = config;
    this.#given = given;
    this.#services = new Map(config.services.map((service) => [service.id, service]));
    this.#happenings = happenings((thrown) =>
      log.error({ error: messageOf(thrown) }, 'what happened could not be shown'),
    );
    this.#telling = houseTelling({
      ...given,
      standingOf: (id) => this.#watch.standingOf(id),
      isPlanned: (id, at) => this.#planned.around(id, at) !== null,
      wake: () => this.wake(),
      signal: this.#stopping.signal,
    });
    this.#jobs = houseJobs({
      ...given,
      jobs: config.jobs,
      look: (id) => void this.#watch.askNow(id),
    });
    this.#cards = cardsOf(config);
    this.#planned = new Planned({
      clock,
      log,
      record,
      rules: config.planned,
      cards: this.#cards,
      channels: config.tell,
      standingOf: (id) => this.#watch.standingOf(id),
      newId: randomUUID,
      wake: () => this.#watch.wake(),
    });
    this.#watch = new Watch<ProbeSettings | JobSettings, Channel>({
      clock,
      log,
      record,
      services: [...config.services.map(watched), ...this.#jobs.watched],
      channels: config.tell,
      settleMs: config.settleMs,
      plannedUntil: (id, at) => this.#planned.around(id, at)?.to ?? null,
      jobOf: (id) => this.#jobs.dataOf(id),
      ask: async (settings, context) =>
        settings.kind === 'job'
          ? this.#jobs.jobs.ask(settings.id)
          : maskedObservation(await ask(settings, lookup ? { ...context, lookup } : context), mask),
      send: this.#telling.send,
      quiet: this.#telling.quiet,
      show: this.#happenings.tell,
      newId: randomUUID,
      random: Math.random,
    });
  }

  /** Where the board answers. */
  get url(): string {
    const address = this.#board?.server.address() as AddressInfo | null | undefined;
    const { host, port } = this.config.board.listen;
    const name = host === '0.0.0.0' || host === '::' ? 'localhost' : host;
    const origin = `http://${name.includes(':') ? `[${name}]` : name}:${address?.port ?? port}`;
    return `${origin}${this.config.board.base}`;
  }

  /** Throws `listen-failed` when an address is taken; what was started before is then to be stopped. */
  async start(): Promise<void> {
    await this.#planned.recall();
    await this.#jobs.jobs.recall();
    await this.#jobs.spool.look();
    await this.#watch.recall();
    const options = this.#boardOptions();
    const { board, household } = this.config;
    this.#board = await opened(await createBoard(options), board.listen, 'the board');
    if (household) {
      const page = await createHousehold(options, household.listen.host);
      this.#household = await opened(page, household.listen, 'the page of the household');
    }
    this.#local = await listenLocally({
      path: this.#given.socket,
      jobs: this.#jobs.source,
      find: (words) => {
        const { services, complaint } = findServices(this.config.services, words);
        return { ids: services.map(({ id }) => id), complaint };
      },
      ask: (ids) => this.#askNow(ids),
      health: () => healthOf(options),
      reportSource: () => reportSourceOf(options),
      backUp: this.#given.backUp,
      planning: planningOf(this.#planned, this.config, this.#given.clock),
      telling: this.#telling.local,
    });
    this.#watch.begin();
    this.#jobs.spool.begin();
    await this.#planned.begin();
    this.#telling.begin();
    this.#news = startHouseNews({
      ...this.#given,
      standingOf: options.standingOf,
      listen: this.#happenings.listen,
      isWell: () => healthOf(options).status !== 'fail',
      wake: () => this.wake(),
    });
  }

  /** A notice waits in the record. */
  wake(): void {
    this.#watch.wake();
  }

  async stop(): Promise<void> {
    this.#stopping.abort();
    this.#telling.stop();
    await Promise.all([this.#news?.stop(), this.#planned.stop()]);
    await this.#jobs.spool.stop();
    await this.#jobs.jobs.stop();
    await this.#watch.stop();
    await Promise.all([this.#board, this.#household, this.#local].map((one) => one?.close()));
  }

  #boardOptions(): BoardOptions {
    const { record, clock, log, version, folder } = this.#given;
    const { board } = this.config;
    const askings = askingsOf(this.config);
    const { passphrase, tokens, names, proxies } = board;
    return {
      record,
      cards: this.#cards,
      standingOf: (id) => this.#watch.standingOf(id),
      revision: () => this.#watch.revision(),
      askingOf: (id) => {
        const asking = askings.get(id);
        if (!asking) throw new Error(`nothing on the roll is ${id}`);
        return asking;
      },
      board,
      access: { passphrase, tokens, key: boardKeyIn(folder, log) },
      hostnames: names,
      proxies,
      clock,
      log,
      version,
      self: () => this.#self(),
      telling: () => this.#watch.telling(),
      planned: this.#planned,
      jobs: this.#jobs.source,
      listen: this.#happenings.listen,
      acts: {
        askNow: (id) => this.#watch.askNow(id),
        testChannel: (name) => this.#telling.testChannel(name),
      },
    };
  }

  #self(): SelfReport {
    const { startedAt, troubles } = this.#given.self();
    const { pulse, troubles: ofNews } = this.#news?.report() ?? { pulse: null, troubles: [] };
    const lateness = () => this.#watch.lateness();
    return { startedAt, lateness, pulse, troubles: [...troubles, ...ofNews] };
  }

  #service(id: string): Service {
    const service = this.#services.get(id);
    if (!service) throw new Error(`no service ${id}`);
    return service;
  }

  /** Only answers that came after the call; a service without one could not be asked. */
  async #askNow(ids: readonly string[]): Promise<Asked> {
    const before = new Map(ids.map((id) => [id, this.#watch.standingOf(id).last]));
    await Promise.all(ids.map((id) => this.#watch.askNow(id)));
    const answers: Answer[] = [];
    const unasked: string[] = [];
    for (const id of ids) {
      const { last } = this.#watch.standingOf(id);
      const service = this.#service(id);
      if (last && last !== before.get(id)) answers.push(answerOf(service, last));
      else unasked.push(service.name);
    }
    return { answers, unasked };
  }
}

/** Each field named, so that all have one hidden class of V8: a copy has its own, and is read slowly at every answer. */
function watched(service: Service): WatchedService<ProbeSettings> {
  const { minGapMs, slower = {} } = mannersOf(service.probe);
  return {
    id: service.id,
    needs: service.needs,
    through: service.through,
    everyMs: service.everyMs,
    timeoutMs: service.timeoutMs,
    recheckMs: service.recheckMs,
    confirm: service.confirm,
    restore: service.restore,
    unanswered: service.unanswered,
    unsteady: service.unsteady,
    slowMs: service.slowMs,
    fingerprint: service.fingerprint,
    probe: service.probe,
    card: cardOf(service),
    minGapMs,
    slower,
  };
}

async function opened(
  app: FastifyInstance,
  listen: { readonly host: string; readonly port: number },
  what: string,
): Promise<FastifyInstance> {
  try {
    await app.listen(listen);
    return app;
  } catch (thrown) {
    throw new RollcallError(
      'listen-failed',
      `${what} cannot listen on ${listen.host}:${listen.port}: ${messageOf(thrown)}`,
      { cause: thrown },
    );
  }
}
