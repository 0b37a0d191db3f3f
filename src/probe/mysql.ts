/**
 * Asks a MySQL or MariaDB server, or what speaks their protocol: greeting, sign-in, `SELECT 1`.
 * The server speaks first, and holds it against the asking address when nobody signs in after that; after
 * `max_connect_errors` such visits (100 by default) it refuses the address altogether, and with it every program there
 * (MySQL manual, "DNS Lookups and the Host Cache"). So the probe does not leave at the greeting but where the server has
 * shown that it sees this machine's own 127.0.0.1 or ::1, for which alone that does not count.
 */
import type { Trouble } from '../base/values.ts';
import { judgeCertificate } from './certificate.ts';
import { done, type Step, stuck } from './decoding.ts';
import {
  decodeAnswer,
  decodeGreeting,
  encodeQuery,
  encodeQuit,
  encodeSslRequest,
  type Greeting,
  type ServerError,
} from './mysql-messages.ts';
import { sayError, troubleOfError } from './mysql-refusals.ts';
import {
  identityOf,
  leaveWord,
  nobody,
  type Presenting,
  packetsOver,
  present,
} from './mysql-sign-in.ts';
import { type LooseFacts, trouble } from './observe.ts';
import type { Ask, ProbeContext } from './probe.ts';
import { ordinaryCertificate } from './settings/certificate.ts';
import type { MysqlSettings } from './settings/mysql.ts';
import { converse, type Wire } from './socket.ts';
import { secureOptions, shownBy } from './trust.ts';

export const askMysql: Ask<MysqlSettings> = (settings, context) => {
  const { host, port } = settings;
  return converse({ host, port, speaks: 'MySQL' }, context, async (wire, course) => {
    let facts: LooseFacts = {};
    const note = (more: LooseFacts) => {
      facts = { ...facts, ...more };
    };
    const found = await exchange({ settings, context, wire, note }, () => course.phase('answer'));
    return found.ok ? course.answered(facts) : course.troubled(found.trouble, facts);
  });
};

/** One exchange under way. */
interface Asking {
  readonly settings: MysqlSettings;
  readonly context: ProbeContext;
  readonly wire: Wire;
  /** Facts stand beside trouble too. */
  readonly note: (facts: LooseFacts) => void;
}

async function exchange(asking: Asking, greeted: () => void): Promise<Step<null>> {
  const { wire, note, settings } = asking;
  const hello = await wire.read(decodeGreeting);
  if (!hello.ok) {
    const { reason } = hello.trouble;
    if (reason === 'no-reply' || reason === 'silent') leaveWord(wire);
    return hello;
  }
  if (hello.value.kind === 'error') return refused(asking, hello.value);
  greeted();
  const { version, flavour, offersTls, plugin } = hello.value;
  const finish = await finishOf(asking, version);
  note({ serverVersion: version, flavour, offersTls, auth: plugin || undefined, finish });
  if (finish === 'greeting') return done(null);
  const ground = await agreeOnTls(asking, hello.value);
  if (!ground.ok) return ground;
  const packets = packetsOver(wire, ground.value.tls ? 2 : 1);
  const presenting = { packets, greeting: hello.value, tls: ground.value.tls };
  const { user, password = '', database } = settings;
  if (user === undefined || ground.value.trouble) {
    return introduceNobody(asking, presenting, ground.value.trouble);
  }
  const identity = identityOf({ user, password, database, certain: ground.value.certain });
  const verdict = await present(presenting, identity);
  if (!verdict.ok) return verdict;
  if (verdict.value === null) return useSession(asking);
  const doubt = identity.doubt();
  return doubt ? stuck(doubt) : refused(asking, verdict.value);
}

// How to leave --------------------------------------------------------------------------------------------------------

/** The greeting alone is enough where nothing counts: never guessed, since a forwarded port has the same address. */
async function finishOf(
  { settings, context, wire }: Asking,
  version: string,
): Promise<'account' | 'made-up-user' | 'greeting'> {
  if (settings.user !== undefined) return 'account';
  if (settings.finish !== 'auto') return settings.finish;
  if (wantedTls(settings) !== 'never' || !isOwn(wire.address())) return 'made-up-user';
  // Another version is another server: it has to show it anew.
  const shown = await context.keep.read(keepKey(wire));
  return shown === version ? 'greeting' : 'made-up-user';
}

/** The two addresses that a server takes for its own machine. Any other one of this machine counts like a stranger's. */
function isOwn(address: string): boolean {
  return address === '127.0.0.1' || address === '::1';
}

function keepKey(wire: Wire): string {
  return `mysql sees us as its own machine ${wire.where}`;
}

/** The sign-in of somebody made up, brought to its end; `found` is what was wrong before. */
async function introduceNobody(
  asking: Asking,
  presenting: Presenting,
  found: Trouble | null,
): Promise<Step<null>> {
  const { wire, note, context, settings } = asking;
  // What the request for TLS has said of the response must hold.
  const verdict = await present(presenting, { ...nobody, database: settings.database });
  if (found) return stuck(found);
  if (!verdict.ok) return verdict;
  if (verdict.value !== null) {
    // "Access denied for user 'name'@'address'": how the server sees us.
    const own = /@'(?:localhost|127\.0\.0\.1|::1)'/.test(verdict.value.message);
    if (own && isOwn(wire.address())) {
      await context.keep.write(keepKey(wire), presenting.greeting.version);
    }
    return refused(asking, verdict.value);
  }
  note({ letsAnybodyIn: true });
  packetsOver(wire, 0).send(encodeQuit());
  return done(null);
}

function refused({ settings, note }: Asking, error: ServerError): Step<null> {
  note({ refusal: sayError(error) });
  const why = troubleOfError(error, settings.user !== undefined);
  return why ? stuck(why) : done(null);
}

// TLS -----------------------------------------------------------------------------------------------------------------

interface Ground {
  readonly tls: boolean;
  /** The other end has shown a certificate that was judged and found good. */
  readonly certain: boolean;
  /** No secret goes over this connection. */
  readonly trouble: Trouble | null;
}

function wantedTls({ user, tls, certificate }: MysqlSettings): 'never' | 'offered' | 'required' {
  return tls ?? (user === undefined && certificate === undefined ? 'never' : 'offered');
}

async function agreeOnTls(asking: Asking, greeting: Greeting): Promise<Step<Ground>> {
  const { settings, wire, note, context } = asking;
  const wanted = wantedTls(settings);
  if (wanted === 'never' || (wanted === 'offered' && !greeting.offersTls)) {
    return done({ tls: false, certain: false, trouble: null });
  }
  if (!greeting.offersTls) return done({ tls: false, certain: false, trouble: notOffered(wire) });
  packetsOver(wire, 1).send(encodeSslRequest(settings));
  const judgedBy = settings.certificate ?? ordinaryCertificate;
  const secured = await wire.secure(secureOptions(judgedBy, settings.host));
  if (!secured.ok) return secured;
  const judged = judgeCertificate(shownBy(secured.value), {
    name: settings.host,
    settings: judgedBy,
    nowMs: context.clock.wallMs(),
  });
  note({ tlsVersion: secured.value.getProtocol(), ...judged.facts });
  const counts = wanted === 'required' || settings.certificate !== undefined;
  return done({ tls: true, certain: counts, trouble: counts ? judged.trouble : null });
}

function notOffered({ where }: Wire): Trouble {
  return trouble(
    'handshake-failed',
    `${where} does not offer TLS`,
    'Switch TLS on in the server (`ssl_cert`, `ssl_key`), or set `tls: offered`.',
  );
}

// The session ---------------------------------------------------------------------------------------------------------

/** Signed in: one question to the executor, and the goodbye that the server wants. */
async function useSession(asking: Asking): Promise<Step<null>> {
  const { wire } = asking;
  packetsOver(wire, 0).send(encodeQuery('SELECT 1'));
  const answer = await wire.read(decodeAnswer);
  if (!answer.ok) return answer;
  packetsOver(wire, 0).send(encodeQuit());
  if (answer.value.kind === 'error') return refused(asking, answer.value);
  if (answer.value.text === '1') return done(null);
  return stuck(trouble('malformed', 'its answer to SELECT 1 is not 1'));
}
