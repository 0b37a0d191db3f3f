/**
 * Asks a Microsoft SQL Server, or what speaks its protocol: PRELOGIN, answered before any sign-in, and a quick goodbye.
 * A sign-in that fails would be a line in the server's log each time, so none is tried. A server that wants TLS first
 * (TDS 8.0, "strict") closes at a question in the clear; it is then asked again within TLS, and from then on only so.
 */
import type { Reason } from '../base/reasons.ts';
import type { Observation, Trouble } from '../base/values.ts';
import { judgeCertificate } from './certificate.ts';
import { done, type Step, stuck } from './decoding.ts';
import { type LooseFacts, trouble } from './observe.ts';
import type { Ask, ProbeContext } from './probe.ts';
import { ordinaryCertificate } from './settings/certificate.ts';
import type { TdsSettings } from './settings/tds.ts';
import { hostPort } from './settings/words.ts';
import { converse, type Wire } from './socket.ts';
import { decodeReply, encodePrelogin, type Reply } from './tds-messages.ts';
import { secureOptions, shownBy } from './trust.ts';

/** [MS-TDS] §3.2.5.1: the protocol that a client of TDS 8.0 names within TLS. */
const strictProtocol = 'tds/8.0';

export const askTds: Ask<TdsSettings> = async (settings, context) => {
  if (settings.encryption === 'strict') return askStrictly(settings, context);
  const { clock, keep, timeoutMs } = context;
  const key = `tds is asked at ${hostPort(settings.host, settings.port)}`;
  const strictFirst = (await keep.read(key)) === 'strictly';
  const startedMs = clock.monotonicMs();
  const one = await (strictFirst ? askStrictly : askPlainly)(settings, context);
  const leftMs = timeoutMs - (clock.monotonicMs() - startedMs);
  if (!turnsAway(one.trouble) || leftMs <= 0) return one;
  const rest = { ...context, timeoutMs: leftMs };
  const other = await (strictFirst ? askPlainly : askStrictly)(settings, rest);
  if (!wasHeard(other)) return one;
  await keep.write(key, strictFirst ? 'plainly' : 'strictly');
  return other;
};

/** As a server does with a question that begins in the wrong way: it closes, or sends a TLS alert. */
function turnsAway(found: Trouble | null): boolean {
  switch (found?.reason) {
    case 'closed-early':
    case 'reset':
    case 'handshake-failed':
      return true;
    case 'other-protocol':
      return found.detail.includes('speaks TLS');
    default:
      return false;
  }
}

/** The other way was the right one, whatever came of it. */
function wasHeard({ facts, trouble: found }: Observation): boolean {
  return found === null || found.layer === 'answer' || facts['tlsVersion'] !== undefined;
}

function askPlainly(settings: TdsSettings, context: ProbeContext): Promise<Observation> {
  const { host, port } = settings;
  return converse({ host, port, speaks: 'TDS' }, context, async (wire, course) => {
    const reply = await prelogin(wire, settings);
    if (!reply.ok) return course.troubled(reply.trouble);
    const { facts, trouble: found } = judged(reply.value, settings);
    return found ? course.troubled(found, facts) : course.answered(facts);
  });
}

function askStrictly(settings: TdsSettings, context: ProbeContext): Promise<Observation> {
  const { host, port } = settings;
  return converse({ host, port }, context, async (wire, course) => {
    const secured = await goSecure(wire, settings, context.clock.wallMs());
    if (!secured.ok) return course.troubled(secured.trouble);
    const ground = secured.value;
    if (ground.trouble) return course.troubled(ground.trouble, ground.facts);
    const reply = await prelogin(wire, settings);
    if (!reply.ok) return course.troubled(reply.trouble, ground.facts);
    const { facts, trouble: found } = judged(reply.value, settings);
    const all = { ...facts, encryption: 'strict', ...ground.facts };
    return found ? course.troubled(found, all) : course.answered(all);
  });
}

interface Judged {
  readonly facts: LooseFacts;
  readonly trouble: Trouble | null;
}

async function goSecure(
  wire: Wire,
  { host, certificate = ordinaryCertificate }: TdsSettings,
  nowMs: number,
): Promise<Step<Judged>> {
  const secured = await wire.secure({
    ...secureOptions(certificate, host),
    ALPNProtocols: [strictProtocol],
  });
  if (!secured.ok) return secured;
  const shown = shownBy(secured.value);
  const verdict = judgeCertificate(shown, { name: host, settings: certificate, nowMs });
  return done({
    facts: { tlsVersion: secured.value.getProtocol(), ...verdict.facts },
    trouble: verdict.trouble,
  });
}

async function prelogin(wire: Wire, { instance }: TdsSettings): Promise<Step<Reply>> {
  wire.write(encodePrelogin(instance));
  const reply = await wire.read(decodeReply);
  return reply.ok ? done(reply.value) : stuck(reply.trouble);
}

function judged(reply: Reply, { instance }: TdsSettings): Judged {
  if (reply.kind === 'error') {
    const said = `it says “${reply.message} [${reply.number}]”`;
    return { facts: {}, trouble: trouble(refusals.get(reply.number) ?? 'server-error', said) };
  }
  const { version, encryption, otherInstance, federated } = reply;
  const facts = { serverVersion: version, encryption, federatedSignIn: federated };
  if (instance === undefined || !otherInstance) return { facts, trouble: null };
  return { facts, trouble: trouble('value-differs', `another instance than ${instance} answers`) };
}

/** Errors before the sign-in; SQL Server, "Database engine events and errors". */
const refusals = new Map<number, Reason>([
  // The maximum number of user connections has been reached.
  [17_809, 'too-many-connections'],
  // The limit for the database, of sessions, of workers, has been reached.
  [10_928, 'too-many-connections'],
  // Not ready to accept new client connections; script upgrade mode.
  [17_187, 'starting-up'],
  [18_401, 'starting-up'],
  // SHUTDOWN is in progress.
  [6_005, 'shutting-down'],
]);
