/** The composition root: the stages made, joined and started; reload; an orderly end. */
import { randomUUID } from 'node:crypto';
import type { Clock } from './base/clock.ts';
import { bootId, realClock } from './base/clock-real.ts';
import { messageOf } from './base/errors.ts';
import type { Log } from './base/log.ts';
import { sayWatched } from './base/words.ts';
import { keepChoreTimes } from './chore-times.ts';
import { type Chores, choresOf } from './chores.ts';
import type { Config } from './config/resolve.ts';
import { House } from './house.ts';
import { came, clockSet, keepBeat } from './presence.ts';
import type { Lookup } from './probe/probe.ts';
import type { Pulse, Record } from './record/record.ts';
import { openRecord } from './record/sqlite/open.ts';
import { backupsIn } from './rotation.ts';
import { tellSelfTroubles } from './self-troubles.ts';

export interface DaemonGiven {
  readonly config: Config;
  /** The data folder; made when it is not there. */
  readonly folder: string;
  /** Path of the socket for the commands. */
  readonly socket: string;
  readonly log: Log;
  /** For people, on stderr. */
  readonly say: (text: string) => void;
  readonly version: string;
  /** Takes secrets out of a text. */
  readonly mask: (text: string) => string;
  /** Reads the configuration again; throws when it cannot be used. */
  readonly reread: () => Promise<Config>;
  /** In place of the system's resolver, for the services' names. */
  readonly lookup?: Lookup;
}

export class Daemon {
  readonly #given: DaemonGiven;
  readonly #clock: Clock;
  readonly #record: Record;
  readonly #startedAt: number;
  readonly #chores: Chores;
  #house: House;
  /** What goes on beside the house, whatever its configuration, until the end. */
  readonly #beside: { stop(): void | Promise<void> }[] = [];
  #stopping = false;
  #turn: Promise<void> = Promise.resolve();
  /** What is wrong with Rollcall itself, by its source. */
  readonly #troubles = new Map<'reload' | 'clock', string>();

  private constructor(given: DaemonGiven, parts: { clock: Clock; record: Record }) {
    this.#given = given;
    this.#clock = parts.clock;
    this.#record = parts.record;
    this.#startedAt = parts.clock.wallMs();
    this.#chores = choresOf({
      ...parts,
      log: given.log,
      settings: () => this.#house.config.record,
    });
    this.#house = this.#build(given.config);
  }

  /** Throws a RollcallError when the folder is busy or unusable, or an address is taken. */
  static async start(given: DaemonGiven): Promise<Daemon> {
    const clock = realClock();
    let daemon: Daemon | null = null;
    const backups = (): string[] => {
      const { backup } = (daemon ? daemon.#house.config : given.config).record;
      return backup ? backupsIn(backup.to) : [];
    };
    const record = await openRecord({
      folder: given.folder,
      clock,
      log: given.log,
      newId: randomUUID,
      pulse: () => pulseOf(clock),
      backups,
    });
    daemon = new Daemon(given, { clock, record });
    try {
      await daemon.#begin();
      return daemon;
    } catch (thrown) {
      await daemon.#house.stop();
      await daemon.#end();
      throw thrown;
    }
  }

  get url(): string {
    return this.#house.url;
  }

  /** A configuration that cannot be used changes nothing, and the board says so. Not while stopping. */
  reload(): Promise<void> {
    return this.#inTurn(() => (this.#stopping ? Promise.resolve() : this.#reload()));
  }

  async #reload(): Promise<void> {
    const { reread, say, log } = this.#given;
    try {
      const config = await reread();
      const before = this.#house;
      await before.stop();
      this.#house = this.#build(config);
      try {
        await this.#house.start();
      } catch (thrown) {
        // The new one cannot be started, say since its address is taken: back to what worked.
        await this.#house.stop();
        this.#house = this.#build(before.config);
        await this.#house.start();
        throw thrown;
      }
      this.#troubles.delete('reload');
      const { url } = this;
      log.info({ services: config.services.length, url }, 'configuration read again');
      const watched = sayWatched(config.services.length, config.jobs.length);
      say(`Configuration read again: ${watched}. The board: ${url}`);
      await this.#record.disturbed({ at: this.#clock.wallMs(), kind: 'reloaded', byMs: 0 });
    } catch (thrown) {
      const text = `The configuration was read again and changes nothing: ${messageOf(thrown)}`;
      this.#troubles.set('reload', text);
      log.warn({ error: messageOf(thrown) }, 'reload refused');
      say(text);
    }
  }

  /** Stops asking, lets running probes end or be cut, commits, closes. */
  stop(): Promise<void> {
    this.#stopping = true;
    return this.#inTurn(() => this.#stop());
  }

  /** Reloads and the stop happen one after the other. */
  #inTurn(work: () => Promise<void>): Promise<void> {
    this.#turn = this.#turn.then(work, work);
    return this.#turn;
  }

  async #stop(): Promise<void> {
    await this.#house.stop();
    await this.#record.disturbed({ at: this.#clock.wallMs(), kind: 'stopped', byMs: 0 });
    await this.#end();
    this.#given.log.info({}, 'stopped');
  }

  async #begin(): Promise<void> {
    const { log, say } = this.#given;
    const parts = { clock: this.#clock, record: this.#record, log };
    const trouble = await clockSet(parts, say);
    if (trouble !== null) this.#troubles.set('clock', trouble);
    await came(parts);
    await this.#house.start();
    this.#beside.push(
      keepBeat(parts),
      keepChoreTimes(this.#chores, this.#clock),
      tellSelfTroubles({
        ...parts,
        chores: () =>
          this.#chores.troubles().map(({ chore, text }) => ({ about: chore, summary: text })),
        channels: () => this.#house.config.tell.map(({ name }) => name),
        newId: randomUUID,
        wake: () => this.#house.wake(),
      }),
    );
    log.info({ url: this.url, version: this.#given.version }, 'started');
  }

  async #end(): Promise<void> {
    await Promise.all(this.#beside.map((one) => one.stop()));
    await this.#record.close(pulseOf(this.#clock));
  }

  async #backUp(to: string | null) {
    if (to === null) return await this.#chores.backUp(this.#clock.wallMs());
    return { path: to, ...(await this.#record.upkeep.backup(to)) };
  }

  #build(config: Config): House {
    const { log, folder, socket, version, mask, lookup } = this.#given;
    return new House({
      config,
      clock: this.#clock,
      record: this.#record,
      log,
      folder,
      socket,
      version,
      mask,
      self: () => ({
        startedAt: this.#startedAt,
        troubles: [...this.#troubles.values(), ...this.#chores.troubles().map(({ text }) => text)],
      }),
      backUp: (to) => this.#backUp(to),
      ...(lookup && { lookup }),
    });
  }
}

function pulseOf(clock: Clock): Pulse {
  return { wallMs: clock.wallMs(), bootMs: Math.round(clock.bootMs()), bootId: bootId() };
}
