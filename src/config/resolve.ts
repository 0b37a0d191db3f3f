/** From the file as written to what the house works with: every service complete, nothing left to look up. */
import { slug } from '../base/ids.ts';
import type { BodyTemplate } from '../base/template-names.ts';
import type { ChangeWord, PlannedRule, ServiceCard } from '../base/values.ts';
import type { ProbeSettings } from '../probe/settings/all.ts';
import { fingerprintOf } from './fingerprint.ts';
import { resolvePlanned } from './planned.ts';
import { declarationOf } from './probe-schema.ts';
import { type Job, resolveJob } from './resolve-job.ts';
import type { WrittenConfig, WrittenDefaults, WrittenService } from './schema.ts';
import { type Timing, timingOf } from './timing.ts';
import { machineTimezone } from './words.ts';

export interface Config {
  readonly board: {
    readonly title: string;
    readonly listen: { readonly host: string; readonly port: number };
    /** IANA name. */
    readonly timezone: string;
    /** Under which others open it, without a slash at its end; null: nobody said. */
    readonly address: string | null;
    /** Host names that it goes by beside the machine's own; lower case. */
    readonly names: readonly string[];
    /** As typed, or `scrypt:…` (base/passphrase.ts); null: everybody reads, nobody acts. */
    readonly passphrase: string | null;
    /** Secrets with which programs read. */
    readonly tokens: readonly string[];
    /** `/`, or a path with a slash at either end. */
    readonly base: string;
    /** Addresses and blocks of proxies that are believed. */
    readonly proxies: readonly string[];
  };
  /** The second page, for the household; null: there is none. */
  readonly household: {
    readonly listen: { readonly host: string; readonly port: number };
  } | null;
  readonly record: {
    /** For so many days every answer is kept; null: forever. */
    readonly keepDays: number | null;
    /** Null: there are no backups. */
    readonly backup: {
      /** A folder. */
      readonly to: string;
      readonly days: number;
      readonly weeks: number;
    } | null;
  };
  readonly services: readonly Service[];
  readonly jobs: readonly Job[];
  readonly planned: readonly PlannedRule[];
  readonly tell: readonly Channel[];
  /** Null: nobody is called. */
  readonly pulse: PulseSettings | null;
  /** After a boot of this machine, this long nothing is told. */
  readonly settleMs: number;
}

export interface PulseSettings {
  /** Holds a secret as a whole. */
  readonly to: string;
  readonly everyMs: number;
  readonly method: 'GET' | 'POST';
  readonly headers: Readonly<Record<string, string>>;
}

export interface Service extends Timing {
  readonly id: string;
  readonly name: string;
  readonly group: string | null;
  readonly open: string | null;
  readonly note: string | null;
  readonly needs: readonly string[];
  readonly through: readonly string[];
  /** 0…1 */
  readonly objective: number | null;
  /** Told also in quiet hours. */
  readonly urgent: boolean;
  readonly confirm: number;
  readonly restore: number;
  readonly unanswered: 'down' | 'unobserved';
  readonly unsteady: 'hold' | 'tell';
  /** A slower answer is `limited`. */
  readonly slowMs: number | null;
  readonly probe: ProbeSettings;
  /** Where it is asked, for people; no secret. */
  readonly where: string;
  readonly fingerprint: string;
}

export type Channel = WebhookChannel | MailChannel;

interface EveryChannel {
  readonly name: string;
  /** Null: all of them. */
  readonly only: {
    readonly groups: readonly string[] | null;
    readonly services: readonly string[] | null;
    readonly changes: readonly ChangeWord[] | null;
  };
  /** Minutes of the day, on the clock of the board; null: there are no quiet hours. */
  readonly quiet: { readonly from: number; readonly to: number } | null;
  /** Until the first reminder; null: there are none. */
  readonly remindMs: number | null;
  /** Name of another channel. */
  readonly fallback: string | null;
  readonly digests: readonly ('weekly' | 'monthly')[];
}

interface WebhookChannel extends EveryChannel {
  /** Holds a secret as a whole. */
  readonly webhook: string;
  readonly method: 'POST' | 'PUT' | 'PATCH';
  /** `whsec_…`; null: unsigned. */
  readonly secret: string | null;
  readonly headers: Readonly<Record<string, string>>;
  /** In place of the event; null: the event. */
  readonly body: BodyTemplate | null;
}

interface MailChannel extends EveryChannel {
  readonly mail: {
    readonly to: readonly string[];
    readonly from: string;
    /** Holds a secret as a whole. */
    readonly smtp: string;
  };
}

/** `mask` takes secrets out of what is shown. */
export function resolveConfig(written: WrittenConfig, mask: (text: string) => string): Config {
  const timezone = written.board.timezone ?? machineTimezone();
  const services = written.services.map((service) =>
    resolveService(service, written.defaults, mask),
  );
  const jobs = written.jobs.map((job) => resolveJob(job, timezone));
  return {
    board: {
      ...written.board,
      timezone,
      ...addressed(written.board),
      passphrase: written.board.passphrase ?? null,
      tokens: written.board.tokens ?? [],
    },
    household: written.household ?? null,
    record: { keepDays: written.record.keep, backup: written.record.backup ?? null },
    services,
    jobs,
    planned: written.planned.map((one) => resolvePlanned(one, [...services, ...jobs], timezone)),
    tell: written.tell.map(resolveChannel),
    pulse: written.pulse ? resolvePulse(written.pulse) : null,
    settleMs: written.defaults.settle,
  };
}

/** By the name in its address it is asked for as well. */
function addressed({ address, names }: WrittenConfig['board']) {
  if (address === undefined) return { address: null, names };
  const { hostname } = new URL(address);
  const isName = !/^[[\d]/.test(hostname) && !names.includes(hostname);
  return { address: address.replace(/\/+$/, ''), names: isName ? [...names, hostname] : names };
}

/** What everybody downstream may know of a service. */
export function cardOf(service: Service): ServiceCard {
  const { id, name, group, open, note, needs, through, objective, where, everyMs, probe } = service;
  return {
    id,
    name,
    group,
    kind: probe.kind,
    where,
    open,
    note,
    needs,
    through,
    objective,
    everyMs,
  };
}

/** How it is asked, from start to start: the pause before a recheck begins when the failed probe is over. */
export function askingOf({ everyMs, confirm, recheckMs, timeoutMs }: Service) {
  return { everyMs, confirm, recheckMs: recheckMs + timeoutMs, timeoutMs };
}

function resolveService(
  service: WrittenService,
  defaults: WrittenDefaults,
  mask: (text: string) => string,
): Service {
  const declaration = declarationOf(service.probe);
  return {
    id: service.id ?? slug(service.name),
    name: service.name,
    group: service.group ?? null,
    open: service.open ?? null,
    note: service.note ?? null,
    needs: [...new Set(service.needs)],
    through: [...new Set(service.through)],
    objective: service.objective ?? null,
    urgent: service.urgent ?? false,
    ...timingOf(service, defaults, declaration.manners),
    confirm: service.confirm ?? defaults.confirm,
    restore: service.restore ?? defaults.restore,
    unanswered: service.unanswered ?? defaults.unanswered,
    unsteady: service.unsteady ?? defaults.unsteady,
    slowMs: service.slow ?? null,
    probe: service.probe,
    where: mask(declaration.where(service.probe)),
    fingerprint: fingerprintOf(service.probe),
  };
}

function resolvePulse({ to, every, method, headers }: NonNullable<WrittenConfig['pulse']>) {
  return { to, everyMs: every, method, headers: headers ?? {} };
}

function resolveChannel(channel: WrittenConfig['tell'][number]): Channel {
  const { name, mail, webhook, only: filter } = channel;
  const ways = {
    quiet: channel.quiet ?? null,
    remindMs: channel.remind ?? null,
    fallback: channel.fallback ?? null,
    digests: [...new Set(channel.digest ?? [])],
  };
  const only = {
    groups: filter?.groups ?? null,
    services: filter?.services ?? null,
    changes: filter?.changes ?? null,
  };
  if (mail) {
    const { to, smtp, from = to[0] ?? '' } = mail;
    return { name, only, ...ways, mail: { to, from, smtp } };
  }
  const { method = 'POST', secret = null, headers = {}, body = null } = channel;
  return { name, only, ...ways, webhook: webhook ?? '', method, secret, headers, body };
}
