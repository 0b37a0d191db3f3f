/** The composition root: the stages made, joined and started; reload; an orderly end. */
import { randomUUID } from 'node:crypto';
import type { Clock } from './base/clock.ts';
import { bootId, realClock } from './base/clock-real.ts';
import { messageOf } from './base/errors.ts';
import type { Log } from './base/log.ts';
import { counted } from './base/words.ts';
import type { Config } from './config/resolve.ts';
import { House } from './house.ts';
import type { Lookup } from './probe/probe.ts';
import type { Pulse, Record } from './record/record.ts';
import { openRecord } from './record/sqlite/open.ts';
import { type Beat, beat, irregularities } from './schedule/pulse.ts';

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

const beatMs = 5_000;

/** How long a clock that is behind the record may take to be set before the daemon goes on without it. */
const clockWaitMsMax = 60_000;

export class Daemon {
  readonly #given: DaemonGiven;
  readonly #clock: Clock;
  readonly #record: Record;
  readonly #startedAt: number;
  #house: House;
  #beat: Beat;
  #beating = true;
  #stopping = false;
  #turn: Promise<void> = Promise.resolve();
  /** What is wrong with Rollcall itself, by its source. */
  readonly #troubles = new Map<'reload' | 'clock', string>();

  private constructor(given: DaemonGiven, parts: { clock: Clock; record: Record }) {
    this.#given = given;
    this.#clock = parts.clock;
    this.#record = parts.record;
    this.#startedAt = parts.clock.wallMs();
    this.#house = this.#build(given.config);
    this.#beat = beat(parts.clock);
  }

  /** Throws a RollcallError when the folder is busy or unusable, or an address is taken. */
  static async start(given: DaemonGiven): Promise<Daemon> {
    const clock = realClock();
    const record = await openRecord({
      folder: given.folder,
      clock,
      log: given.log,
      newId: randomUUID,
      pulse: () => pulseOf(clock),
    });
    const daemon = new Daemon(given, { clock, record });
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
      const services = counted(config.services.length, 'service');
      say(`Configuration read again: ${services}. The board: ${url}`);
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
    await this.#waitForClock();
    const at = this.#clock.wallMs();
    if (await this.#wasCutOff(at)) {
      await this.#record.disturbed({ at, kind: 'not-stopped-cleanly', byMs: 0 });
    }
    await this.#record.disturbed({ at, kind: 'started', byMs: 0 });
    await this.#house.start();
    this.#beat = beat(this.#clock);
    this.#beatOn();
    this.#given.log.info({ url: this.url, version: this.#given.version }, 'started');
  }

  async #end(): Promise<void> {
    this.#beating = false;
    await this.#record.close(pulseOf(this.#clock));
  }

  #build(config: Config): House {
    const { log, socket, version, mask, lookup } = this.#given;
    return new House({
      config,
      clock: this.#clock,
      record: this.#record,
      log,
      socket,
      version,
      mask,
      self: () => ({ startedAt: this.#startedAt, troubles: [...this.#troubles.values()] }),
      ...(lookup && { lookup }),
    });
  }

  /**
   * A machine without a battery for its clock boots in the past. Nothing is recorded there:
   * the clock is waited for, and after that the judge holds on to the latest instant that it saw.
   */
  async #waitForClock(): Promise<void> {
    const last = await this.#record.lastPulse();
    const behindMs = () => (last?.wallMs ?? 0) - this.#clock.wallMs();
    if (behindMs() <= 0) return;
    const text = `The clock of this machine is ${Math.ceil(behindMs() / 1_000)} s behind the last entry of the record.`;
    this.#given.say(`${text} Waiting for it to be set.`);
    this.#given.log.warn({ behindMs: behindMs() }, 'the clock is behind the record');
    const waitsUntilMs = this.#clock.monotonicMs() + clockWaitMsMax;
    while (behindMs() > 0 && this.#clock.monotonicMs() < waitsUntilMs) {
      await new Promise<void>((done) => this.#clock.after(250, done));
    }
    if (behindMs() > 0)
      this.#troubles.set('clock', `${text} Set it; until then instants stand still.`);
  }

  /** The last thing that the daemon before wrote down was not its end. */
  async #wasCutOff(now: number): Promise<boolean> {
    const past = await this.#record.disturbances({ from: 0, to: now + 1 });
    const last = past.at(-1);
    return last !== undefined && last.kind !== 'stopped';
  }

  /** Compares the clocks, and writes down why time went unwatched. */
  #beatOn(): void {
    this.#clock.after(beatMs, () => {
      if (!this.#beating) return;
      const now = beat(this.#clock);
      for (const { kind, byMs } of irregularities(this.#beat, now, beatMs)) {
        this.#given.log.warn({ kind, byMs }, 'time went unwatched, or the clock was set');
        this.#record
          .disturbed({ at: now.wallMs, kind, byMs })
          .catch((thrown: unknown) =>
            this.#given.log.error({ error: messageOf(thrown) }, 'not recorded'),
          );
      }
      this.#beat = now;
      this.#beatOn();
    });
  }
}

function pulseOf(clock: Clock): Pulse {
  return { wallMs: clock.wallMs(), bootMs: Math.round(clock.bootMs()), bootId: bootId() };
}
