/**
 * Asks an IKEv2 responder: a request that is well formed and that nobody accepts, so that it is answered with an error and
 * leaves nothing half-open behind. The answer proves a live responder, not who it is. RFC 7296 §1.2, §2.6 and §3.10.1.
 */
import { randomBytes } from 'node:crypto';
import { ikeVendorIdBytesMax, ikeVendorIdsCountMax } from '../base/limits.ts';
import type { Trouble } from '../base/values.ts';
import { correspond } from './datagram.ts';
import { askAgain } from './datagram-again.ts';
import { decodeReply, encodeInit, type InitReply } from './ikev2-messages.ts';
import { type LooseFacts, trouble } from './observe.ts';
import type { Ask } from './probe.ts';
import type { Ikev2Settings } from './settings/ikev2.ts';

/** RFC 3948 §2.2: what tells a message of IKE from one of ESP on the same port. */
const marker = Buffer.alloc(4);
const plainPort = 500;

/** Error types of RFC 7296 §3.10.1 that an unusual request may be answered with. */
const errorNames = new Map([
  [1, 'UNSUPPORTED_CRITICAL_PAYLOAD'],
  [5, 'INVALID_MAJOR_VERSION'],
  [7, 'INVALID_SYNTAX'],
  [14, 'NO_PROPOSAL_CHOSEN'],
  [17, 'INVALID_KE_PAYLOAD'],
  [24, 'AUTHENTICATION_FAILED'],
  [43, 'TEMPORARY_FAILURE'],
]);

export const askIkev2: Ask<Ikev2Settings> = (settings, context) => {
  const { host, port } = settings;
  const lead = isMarked(settings) ? marker : Buffer.alloc(0);
  const spi = newSpi();
  const request = encodeInit({ spi, publicKey: randomBytes(32), nonce: randomBytes(32) });
  return correspond({ host, port }, context, async (wire, course) => {
    course.phase('answer');
    const reply = await askAgain(wire, {
      bytes: Buffer.concat([lead, request]),
      accept: (bytes) => {
        if (!bytes.subarray(0, lead.length).equals(lead)) return null;
        return decodeReply(bytes.subarray(lead.length), spi);
      },
      isGood: (found) => found !== 'broken',
    });
    if (!reply.ok) return course.troubled(withSilenceHint(reply.trouble, settings));
    if (reply.value !== 'broken') return course.answered(factsOf(reply.value));
    return course.troubled(
      trouble('malformed', `${wire.where} answers the request, but its answer is broken`),
    );
  });
};

/** Every error is an answer: it speaks of our request, which no client would send. A cookie is one that clients return. */
function factsOf({ isAccepted, errorNumber, hasCookie, ...more }: InitReply): LooseFacts {
  const error =
    errorNumber === null ? null : (errorNames.get(errorNumber) ?? `error ${errorNumber}`);
  return {
    reply: error ?? (hasCookie ? 'COOKIE' : isAccepted ? 'IKE_SA_INIT' : null),
    cookie: hasCookie || null,
    wantedGroup: more.wantedGroup,
    vendorIds: more.vendorIds.slice(0, ikeVendorIdsCountMax).map(sayVendorId).join(', ') || null,
  };
}

/** Some are a text, most a digest (§3.12). */
function sayVendorId(id: Buffer): string {
  const start = id.subarray(0, ikeVendorIdBytesMax);
  const text = start.toString('latin1');
  const said = /^[\x20-\x7e]{4,}$/.test(text) ? text : start.toString('hex');
  return id.length > start.length ? `${said}…` : said;
}

function withSilenceHint(found: Trouble, settings: Ikev2Settings): Trouble {
  if (found.reason !== 'silent') return found;
  const mark = isMarked(settings) ? 'with' : 'without';
  const hint = `Silence decides nothing here: host off, packet dropped, a responder of IKEv1 only, or one that does not expect messages ${mark} the marker of four zero bytes (\`marker\`).`;
  return { ...found, hint };
}

function isMarked({ marker: given, port }: Ikev2Settings): boolean {
  return given === 'auto' ? port !== plainPort : given === 'yes';
}

/** Zero would be none. */
function newSpi(): Buffer {
  const bytes = randomBytes(8);
  return bytes.equals(Buffer.alloc(8)) ? newSpi() : bytes;
}
