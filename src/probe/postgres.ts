/**
 * Asks a PostgreSQL server, or what speaks its protocol: TLS, start-up, sign-in, `SELECT 1`.
 * Without a password it stops at the question for one and closes there, which leaves no line in the server's log
 * (seen on 15.18). The answer to the request for TLS alone proves little: a server that starts, or is full, gives it too.
 */
import type { Observation } from '../base/values.ts';
import { judgeCertificate } from './certificate.ts';
import { type LooseFacts, trouble } from './observe.ts';
import {
  type Asking,
  type Found,
  going,
  next,
  outOfTurn,
  over,
  type Part,
} from './postgres-asking.ts';
import {
  type Authentication,
  decodeSslReply,
  encodeQuery,
  encodeSslRequest,
  encodeStartup,
  encodeTerminate,
} from './postgres-messages.ts';
import { scramName, signIn } from './postgres-sign-in.ts';
import type { ProbeContext } from './probe.ts';
import { ordinaryCertificate } from './settings/certificate.ts';
import type { PostgresSettings } from './settings/postgres.ts';
import { converse } from './socket.ts';
import { secureOptions, shownBy } from './trust.ts';

export function askPostgres(
  settings: PostgresSettings,
  context: ProbeContext,
): Promise<Observation> {
  const { host, port } = settings;
  return converse({ host, port, speaks: 'PostgreSQL' }, context, async (wire, course) => {
    const asking = { settings, wire };
    const found = await exchange(asking, context.clock.wallMs(), () => course.phase('answer'));
    return found.trouble
      ? course.troubled(found.trouble, found.facts)
      : course.answered(found.facts);
  });
}

async function exchange(asking: Asking, nowMs: number, greeted: () => void): Promise<Found> {
  const ground = await agreeOnTls(asking, nowMs);
  if (!ground.ok) return ground.found;
  const hello = await startUp(asking);
  if (!hello.ok) return withFacts(ground.value.facts, hello.found);
  const facts = { ...ground.value.facts, auth: nameOf(hello.value) };
  greeted();
  if (hello.value.step !== 'ok') {
    const { password } = asking.settings;
    if (password === undefined) return { trouble: null, facts };
    const signed = await signIn(
      { ...asking, password, certain: ground.value.certain },
      hello.value,
    );
    if (!signed.ok) return withFacts(facts, signed.found);
  }
  return withFacts(facts, await useSession(asking));
}

interface Ground {
  readonly facts: LooseFacts;
  /** The other end has shown a certificate that was judged and found good. */
  readonly certain: boolean;
}

const plainGround: Ground = { facts: {}, certain: false };

async function agreeOnTls(asking: Asking, nowMs: number): Promise<Part<Ground>> {
  const { settings, wire } = asking;
  if (settings.tls === 'never') return going(plainGround);
  wire.write(encodeSslRequest());
  const reply = await wire.read(decodeSslReply);
  if (!reply.ok) return over(reply.trouble);
  switch (reply.value) {
    case 'tls':
      return goSecure(asking, nowMs);
    case 'plain':
      if (settings.tls === 'offered') return going(plainGround);
      return over(
        trouble(
          'handshake-failed',
          `${wire.where} does not offer TLS`,
          'Switch TLS on in the server (`ssl = on`), or set `tls: offered`.',
        ),
      );
    case 'error': {
      const refused = await next(asking);
      return refused.ok ? outOfTurn(asking) : refused;
    }
  }
}

/** With `tls: offered` the certificate counts only where the owner has said what it must be. */
async function goSecure({ settings, wire }: Asking, nowMs: number): Promise<Part<Ground>> {
  const { host, tls, certificate } = settings;
  const wanted = certificate ?? ordinaryCertificate;
  const secured = await wire.secure(secureOptions(wanted, host));
  if (!secured.ok) return over(secured.trouble);
  const judged = judgeCertificate(shownBy(secured.value), { name: host, settings: wanted, nowMs });
  const facts = { tlsVersion: secured.value.getProtocol(), ...judged.facts };
  const counts = tls === 'required' || certificate !== undefined;
  if (counts && judged.trouble) return over(judged.trouble, facts);
  return going({ facts, certain: counts });
}

/** How the server wants the sign-in. */
async function startUp(asking: Asking): Promise<Part<Authentication>> {
  const { user, database } = asking.settings;
  asking.wire.write(encodeStartup({ user, database, application_name: 'rollcall' }));
  const hello = await next(asking);
  if (!hello.ok) return hello;
  if (hello.value.kind !== 'authentication') return outOfTurn(asking);
  const { authentication } = hello.value;
  const early = authentication.step === 'sasl-continue' || authentication.step === 'sasl-final';
  return early ? outOfTurn(asking) : going(authentication);
}

/** As in pg_hba.conf. */
function nameOf(authentication: Authentication): string {
  switch (authentication.step) {
    case 'ok':
      return 'trust';
    case 'cleartext':
      return 'password';
    case 'sasl': {
      const { mechanisms } = authentication;
      return mechanisms.includes(scramName) ? 'scram-sha-256' : mechanisms.join(', ');
    }
    default:
      return authentication.step;
  }
}

/** Signed in: what the server tells of itself, one question to its executor, and the goodbye that it wants here. */
async function useSession(asking: Asking): Promise<Found> {
  const begun = await untilReady(asking);
  if (!begun.ok) return begun.found;
  const facts = sessionFacts(begun.value.parameters);
  asking.wire.write(encodeQuery('SELECT 1'));
  const answer = await untilReady(asking);
  if (!answer.ok) return withFacts(facts, answer.found);
  asking.wire.write(encodeTerminate());
  if (answer.value.first === '1') return { trouble: null, facts };
  return { trouble: trouble('malformed', 'its answer to SELECT 1 is not 1'), facts };
}

interface Heard {
  readonly parameters: ReadonlyMap<string, string>;
  readonly first: string | null;
}

async function untilReady(asking: Asking): Promise<Part<Heard>> {
  const parameters = new Map<string, string>();
  let first: string | null = null;
  for (;;) {
    const part = await next(asking);
    if (!part.ok) return part;
    const message = part.value;
    switch (message.kind) {
      case 'parameter':
        parameters.set(message.name, message.value);
        break;
      case 'row':
        first = message.first;
        break;
      case 'ready':
        return going({ parameters, first });
      case 'authentication':
        return outOfTurn(asking);
    }
  }
}

/** A standby serves readers, as it was set up to: a fact, no trouble. `in_hot_standby` is told since release 14. */
function sessionFacts(parameters: ReadonlyMap<string, string>): LooseFacts {
  const standby = parameters.get('in_hot_standby');
  return {
    serverVersion: parameters.get('server_version'),
    role: standby === undefined ? undefined : standby === 'on' ? 'standby' : 'primary',
    readOnly: parameters.get('default_transaction_read_only') === 'on' || undefined,
  };
}

function withFacts(facts: LooseFacts, found: Found): Found {
  return { trouble: found.trouble, facts: { ...facts, ...found.facts } };
}
