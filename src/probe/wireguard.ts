/**
 * Asks a WireGuard endpoint: one handshake with the keys of a peer made for the probe, never carried further.
 * Only the holder of the endpoint's private key can answer it, and only a peer that it knows is answered at all; so silence
 * proves nothing. J. A. Donenfeld, "WireGuard: Next Generation Kernel Network Tunnel" (NDSS 2017), §5 and §6.
 */
import { randomBytes } from 'node:crypto';
import type { Observation, Trouble } from '../base/values.ts';
import { correspond, type DatagramWire } from './datagram.ts';
import { done, type Step, stuck } from './decoding.ts';
import { type Course, trouble } from './observe.ts';
import type { Ask, ProbeContext } from './probe.ts';
import { bytesOf, type WireguardSettings } from './settings/wireguard.ts';
import {
  decodeCookieReply,
  decodeResponse,
  encodeInitiation,
  type Initiation,
  isMarked,
  type Keys,
  keysOf,
  openCookieReply,
  openResponse,
} from './wireguard-messages.ts';
import { nextStamp } from './wireguard-stamp.ts';
import { type Agree, agree, makePrivateKey } from './x25519.ts';

/** §6.1, Rekey-Timeout: the least time between two initiations, also between a cookie and its use (§6.6). */
const turnMs = 5_000;
/** Another initiation is sent only when its answer has this long to come. */
const answerMsMin = 500;
/** After an answer that does not open, how long a better one is waited for: anybody on the way may forge the first. */
const doubtMs = 500;
/** Answers, and likewise cookies, that are tried to be opened in one probe. */
const openingsCountMax = 3;

export const askWireguard: Ask<WireguardSettings> = askWireguardWith(agree);

/** `agreeOn` agrees on the keys that answers are opened with: a test counts how often. */
export function askWireguardWith(agreeOn: Agree): Ask<WireguardSettings> {
  return (settings, context) =>
    correspond({ ...settings, hearsElsewhere: true }, context, (wire, course) =>
      shakeHands(
        { keys: keysIn(settings), wire, context, agreeOn, sent: [], cookie: null },
        course,
      ),
    );
}

/** One probe under way. */
interface Handshake {
  readonly keys: Keys;
  readonly wire: DatagramWire;
  readonly context: ProbeContext;
  readonly agreeOn: Agree;
  /** Each may still be answered. */
  readonly sent: Initiation[];
  /** Out of the newest cookie reply: the endpoint is under load, and wants to see it again from this port. */
  cookie: Buffer | null;
}

/** One initiation a turn, as a client would, as long as there is time. */
async function shakeHands(handshake: Handshake, course: Course): Promise<Observation> {
  const { wire, context } = handshake;
  const read = readerOf(handshake);
  for (;;) {
    const turnEndsMs = context.clock.monotonicMs() + turnMs;
    await initiate(handshake);
    course.phase('answer');
    const answer = await awaitAnswer(handshake, read, turnEndsMs);
    if (answer.ok) return conclude(answer.value, handshake, course);
    if (answer.trouble.reason !== 'silent') return course.troubled(answer.trouble);
    if (wire.remainingMs() < answerMsMin) {
      return course.troubled(
        handshake.cookie ? underLoad(handshake) : silent(answer.trouble, handshake),
      );
    }
  }
}

async function initiate({ keys, wire, context, sent, cookie }: Handshake): Promise<void> {
  const initiation = encodeInitiation(keys, {
    ephemeralPrivate: makePrivateKey(),
    senderIndex: randomBytes(4).readUInt32LE(),
    stamp: await nextStamp(keys.ownPublic, context),
    cookie,
  });
  sent.push(initiation);
  wire.send(initiation.bytes);
}

interface Answer {
  readonly kind: 'answer';
  readonly opened: boolean;
  /** `address:port`, when it came from another place than the one asked. */
  readonly elsewhere: string | null;
}

type Reply = Answer | { readonly kind: 'cookie'; readonly cookie: Buffer };
type Read = (bytes: Buffer, elsewhere: string | null) => Reply | null;

/** The answer to one of our initiations. A cookie that comes first is kept for the next turn. */
async function awaitAnswer(
  handshake: Handshake,
  read: Read,
  turnEndsMs: number,
): Promise<Step<Answer>> {
  const { wire, context } = handshake;
  for (;;) {
    const leftMs = Math.max(0, turnEndsMs - context.clock.monotonicMs());
    const reply = await wire.receive(read, leftMs);
    if (!reply.ok) return reply;
    if (reply.value.kind === 'answer') return done(await doubted(reply.value, wire, read));
    handshake.cookie = reply.value.cookie;
    if (wire.remainingMs() < leftMs + answerMsMin) return stuck(underLoad(handshake));
  }
}

/** An answer that opens is beyond doubt. */
async function doubted(answer: Answer, wire: DatagramWire, read: Read): Promise<Answer> {
  if (answer.opened) return answer;
  const better = await wire.receive((bytes, elsewhere) => {
    const reply = read(bytes, elsewhere);
    return reply?.kind === 'answer' && reply.opened ? reply : null;
  }, doubtMs);
  return better.ok ? better.value : answer;
}

/** Cheap checks first: length and type, our index, the mark of one who knows our public key; only then curves and ciphers. */
function readerOf({ keys, sent, agreeOn }: Handshake): Read {
  let answersOpened = 0;
  let cookiesOpened = 0;
  const initiationOf = (index: number) => sent.find(({ senderIndex }) => senderIndex === index);

  const readAnswer: Read = (bytes, elsewhere) => {
    const response = decodeResponse(bytes);
    const initiation = response && initiationOf(response.receiverIndex);
    if (!response || !initiation || !isMarked(response, keys.ownPublic)) return null;
    if (answersOpened >= openingsCountMax) return null;
    answersOpened += 1;
    const opening = openResponse(response, initiation, keys, agreeOn);
    return opening === 'unsound'
      ? null
      : { kind: 'answer', opened: opening === 'opened', elsewhere };
  };

  const readCookie: Read = (bytes) => {
    const reply = decodeCookieReply(bytes);
    const initiation = reply && initiationOf(reply.receiverIndex);
    if (!reply || !initiation || cookiesOpened >= openingsCountMax) return null;
    cookiesOpened += 1;
    const cookie = openCookieReply(reply, initiation, keys);
    return cookie && { kind: 'cookie', cookie };
  };

  return (bytes, elsewhere) => readAnswer(bytes, elsewhere) ?? readCookie(bytes, elsewhere);
}

function conclude(answer: Answer, { wire, cookie }: Handshake, course: Course): Observation {
  const facts = { answeredFrom: answer.elsewhere, underLoad: cookie ? true : null };
  if (answer.opened) return course.answered(facts);
  // The mark needs our public key, which an endpoint has read out of our initiation: a strong hint, though not a proof.
  const found = trouble(
    'sign-in-refused',
    `${wire.where} answers the probe, but with another preshared key than its own`,
    "Compare `presharedKey` with the PresharedKey of the probe's peer at the endpoint. Other peers have keys of their own.",
  );
  return course.troubled(found, facts);
}

function underLoad({ wire, sent }: Handshake): Trouble {
  const tries = sent.length > 1 ? `, and has not answered ${sent.length} initiations` : '';
  return trouble('under-load', `${wire.where} is under load and hands out cookies first${tries}`);
}

function silent(found: Trouble, { keys }: Handshake): Trouble {
  const peer = keys.ownPublic.toString('base64');
  const hint = `Silence decides nothing here: host off, packet dropped, other keys. Has the endpoint a peer with the public key ${peer}?`;
  return { ...found, hint };
}

function keysIn({ privateKey, publicKey, presharedKey }: WireguardSettings): Keys {
  return keysOf({
    ownPrivate: bytesOf(privateKey),
    endpointPublic: bytesOf(publicKey),
    preshared: presharedKey === undefined ? null : bytesOf(presharedKey),
  });
}
