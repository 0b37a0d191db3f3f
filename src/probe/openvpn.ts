/**
 * Asks an OpenVPN server: the reset that opens its control channel, never carried further, and never acknowledged. The
 * server's reset proves that somebody speaks OpenVPN there, and with a key that it has this key, which all clients share;
 * it does not prove the server's certificate. With another key it must stay silent, so silence over UDP proves nothing.
 */
import { randomBytes } from 'node:crypto';
import type { Observation, Trouble } from '../base/values.ts';
import { correspond } from './datagram.ts';
import { askAgain } from './datagram-again.ts';
import { needMore } from './decoding.ts';
import { type Course, trouble } from './observe.ts';
import { otherHalf, readClientKey, readStaticKey, slotsOf } from './openvpn-keys.ts';
import {
  type Answer,
  type Cover,
  type Covered,
  decodeAnswer,
  decodeFrame,
  encodeReset,
  frame,
  type Opening,
} from './openvpn-packets.ts';
import type { Ask, ProbeContext } from './probe.ts';
import type { OpenvpnSettings } from './settings/openvpn.ts';
import { converse } from './socket.ts';

/** A server may send its answer again, and logs it as an error when the port has closed meanwhile. */
const lingerMs = 1_000;
/** How long a connection must stay open by itself to show that it was closed because of what we sent. */
const quietMs = 300;

export const askOpenvpn: Ask<OpenvpnSettings> = (settings, context) => {
  const opening = {
    session: newSession(),
    unixTimeS: unixTimeS(context),
    cover: coverOf(settings),
  };
  return settings.proto === 'tcp'
    ? askOverTcp(settings, opening, context)
    : askOverUdp(settings, opening, context);
};

/** No answer from another address is listened for: a client would not take it either, unless it has `float`. */
function askOverUdp(
  { host, port }: OpenvpnSettings,
  opening: Opening,
  context: ProbeContext,
): Promise<Observation> {
  return correspond({ host, port, lingerMs }, context, async (wire, course) => {
    course.phase('answer');
    const answer = await askAgain(wire, {
      bytes: encodeReset(opening),
      accept: (bytes) => decodeAnswer(bytes, opening),
      isGood: ({ covered }) => covered === 'as-asked',
    });
    if (answer.ok) return conclude(answer.value, { opening, context, course, where: wire.where });
    const { trouble: found } = answer;
    return course.troubled(
      found.reason === 'silent' ? { ...found, hint: silenceHint(opening.cover) } : found,
    );
  });
}

/**
 * Over TCP an opening that is accepted must be answered, so silence there is `no-reply`. A server closes at an opening that
 * it cannot check, in a millisecond. A proxy without its service closes too, but at whatever is sent and even at nothing:
 * a second connection, on which nothing is sent, tells the two apart.
 */
async function askOverTcp(
  settings: OpenvpnSettings,
  opening: Opening,
  context: ProbeContext,
): Promise<Observation> {
  const { clock, timeoutMs } = context;
  const startedMs = clock.monotonicMs();
  const one = await openOverTcp(settings, opening, context);
  const leftMs = timeoutMs - (clock.monotonicMs() - startedMs);
  const wasCut = one.trouble?.reason === 'closed-early' || one.trouble?.reason === 'reset';
  if (!wasCut || opening.cover.mode === 'none' || leftMs < quietMs) return one;
  const other = await sayNothing(settings, { ...context, timeoutMs: quietMs });
  return other.trouble?.reason === 'sign-in-refused' ? other : one;
}

function openOverTcp(
  { host, port }: OpenvpnSettings,
  opening: Opening,
  context: ProbeContext,
): Promise<Observation> {
  return converse({ host, port, speaks: 'OpenVPN' }, context, async (wire, course) => {
    wire.write(frame(encodeReset(opening)));
    course.phase('answer');
    const packet = await wire.read(decodeFrame);
    if (!packet.ok) return course.troubled(withKeyHint(packet.trouble, opening.cover));
    const answer = decodeAnswer(packet.value, opening);
    if (answer) return conclude(answer, { opening, context, course, where: wire.where });
    return course.troubled(
      trouble('malformed', `what ${wire.where} sent is no answer to the opening`),
    );
  });
}

/** `sign-in-refused` when the connection stays open all the time; anything else proves nothing. */
function sayNothing({ host, port }: OpenvpnSettings, context: ProbeContext): Promise<Observation> {
  return converse({ host, port }, context, async (wire, course) => {
    const end = await wire.read(() => needMore);
    if (end.ok || end.trouble.reason !== 'no-reply') return course.answered();
    return course.troubled(
      trouble(
        'sign-in-refused',
        `${wire.where} closes the connection at the opening with the key of the probe`,
        keyHint,
      ),
    );
  });
}

interface Asked {
  readonly opening: Opening;
  readonly context: ProbeContext;
  readonly course: Course;
  readonly where: string;
}

function conclude(answer: Answer, { opening, context, course, where }: Asked): Observation {
  const { covered, serverTimeS } = answer;
  const clockAheadS = serverTimeS === null ? null : serverTimeS - unixTimeS(context);
  const facts = { mode: opening.cover.mode, clockAheadS };
  if (covered === 'as-asked') return course.answered(facts);
  return course.troubled(
    trouble('sign-in-refused', `${where} ${oddities[covered]}`, keyHint),
    facts,
  );
}

const oddities: Readonly<Record<Exclude<Covered, 'as-asked'>, string>> = {
  'other-half': 'answers, but with the other half of the key: `direction` differs',
  differently: 'answers, but its answer is not made with the key of the probe',
  bare: 'answers without any key, though the probe has one',
};

const keyHint =
  "This is the probe's own trouble: compare key, direction and `auth` with those of a client that is let in.";

function silenceHint({ mode }: Cover): string {
  const key =
    mode === 'none'
      ? 'or the server has tls-auth or tls-crypt, and is silent to whoever lacks its key'
      : 'or another key, direction or `auth` than the server has';
  return `Silence decides nothing here: host off, packet dropped, too many clients at once, ${key}.`;
}

/** A server with a key closes at an opening without it. */
function withKeyHint(found: Trouble, { mode }: Cover): Trouble {
  if (mode !== 'none' || found.reason !== 'closed-early') return found;
  const hint =
    'Look at its log. If the server has tls-auth or tls-crypt, give the probe its key: without it, it closes like this.';
  return { ...found, hint };
}

function coverOf({ tlsAuth, tlsCrypt, tlsCryptV2 }: OpenvpnSettings): Cover {
  if (tlsAuth) {
    const key = known(readStaticKey(tlsAuth.key));
    const { direction, auth } = tlsAuth;
    return {
      mode: 'tls-auth',
      slots: slotsOf(key, direction),
      otherHalf: otherHalf(key, direction),
      digest: auth,
    };
  }
  if (tlsCrypt) {
    return { mode: 'tls-crypt', slots: slotsOf(known(readStaticKey(tlsCrypt.key)), 1) };
  }
  if (tlsCryptV2) {
    const { key, wrapped } = known(readClientKey(tlsCryptV2.key));
    return { mode: 'tls-crypt-v2', slots: slotsOf(key, 1), wrapped };
  }
  return { mode: 'none' };
}

function known<T>(key: T | null): T {
  if (key === null) throw new Error('the settings let a key through that is none');
  return key;
}

/** Zero would be no session. */
function newSession(): Buffer {
  const bytes = randomBytes(8);
  return bytes.equals(Buffer.alloc(8)) ? newSession() : bytes;
}

function unixTimeS({ clock }: ProbeContext): number {
  return Math.floor(clock.wallMs() / 1_000);
}
