/**
 * IKEv2's first exchange, IKE_SA_INIT: a request that nobody accepts, and what may come back. RFC 7296 §3.1 to §3.10;
 * algorithm numbers from IANA's IKEv2 registry. Integers are big-endian.
 */
import { ikePayloadsCountMax } from '../base/limits.ts';

const headerBytes = 28;
const version2 = 0x20;
const initExchange = 34;
const initiatorFlag = 0x08;
const responseFlag = 0x20;
/** Next payload, flags, and the length of both and the body (§3.2). */
const payloadHeaderBytes = 4;

const payload = { none: 0, sa: 33, keyExchange: 34, nonce: 40, notify: 41, vendorId: 43 } as const;

/** §3.10.1. Below this a notify tells of an error. */
const statusNotify = 16_384;
const cookieNotify = 16_390;
const cookieBytesMax = 64;

/**
 * One proposal, IKE without SPI, of four transforms (§3.3): a cipher with a number of the private range, of which §3.3.2
 * says that it means nothing without an agreement; HMAC-SHA2-256 as the random function; HMAC-SHA2-256-128; X25519
 * (RFC 8031). A responder finds nothing to choose, and keeps nothing.
 */
const proposal = Buffer.from(
  '00000028 01010004 03000008 0100fde8 03000008 02000005 03000008 0300000c 00000008 0400001f'.replaceAll(
    ' ',
    '',
  ),
  'hex',
);
/** The group of the key (§3.4), and two zeros. */
const x25519 = Buffer.of(0, 31, 0, 0);

/** What is new in every request. */
export interface InitRequest {
  /** 8 bytes, not all zero. */
  readonly spi: Buffer;
  /** 32 bytes each. Any 32 bytes are a public key of X25519. */
  readonly publicKey: Buffer;
  readonly nonce: Buffer;
}

export function encodeInit({ spi, publicKey, nonce }: InitRequest): Buffer {
  // Each payload names the type of the next one.
  const payloads = Buffer.concat([
    encodePayload(payload.keyExchange, proposal),
    encodePayload(payload.nonce, Buffer.concat([x25519, publicKey])),
    encodePayload(payload.none, nonce),
  ]);
  const header = Buffer.alloc(headerBytes);
  spi.copy(header);
  header.set([payload.sa, version2, initExchange, initiatorFlag], 16);
  header.writeUInt32BE(headerBytes + payloads.length, 24);
  return Buffer.concat([header, payloads]);
}

export interface InitReply {
  /** It has accepted: it chose from the proposal, and sent its key and its nonce. */
  readonly isAccepted: boolean;
  /** It wants to see its cookie again before it does anything (§2.6). */
  readonly hasCookie: boolean;
  /** The first error that it tells of (§3.10.1); null where there is none. */
  readonly errorNumber: number | null;
  /** The group that it wants in place of the one that was guessed (§1.3). */
  readonly wantedGroup: number | null;
  readonly vendorIds: readonly Buffer[];
}

/** `broken`: it answers this request, since it shows its SPI, but cannot be read. Null: it answers nothing of ours. */
export function decodeReply(bytes: Buffer, spi: Buffer): InitReply | 'broken' | null {
  if (bytes.length < headerBytes || !bytes.subarray(0, 8).equals(spi)) return null;
  const flags = bytes[19] ?? 0;
  const isResponse = (flags & responseFlag) !== 0 && (flags & initiatorFlag) === 0;
  // The version is not looked at: a responder of another one writes its own, and says so in a notify (§2.5).
  if (!isResponse || bytes[18] !== initExchange || bytes.readUInt32BE(20) !== 0) return null;
  const lengthBytes = bytes.readUInt32BE(24);
  if (lengthBytes < headerBytes || lengthBytes > bytes.length) return 'broken';
  const payloads = payloadsIn(bytes.subarray(headerBytes, lengthBytes), bytes[16] ?? 0);
  return (payloads && replyOf(payloads)) ?? 'broken';
}

interface Payload {
  readonly type: number;
  readonly body: Buffer;
}

/** Null unless the chain ends exactly where the bytes end. */
function payloadsIn(bytes: Buffer, firstType: number): readonly Payload[] | null {
  const payloads: Payload[] = [];
  let type = firstType;
  let startByte = 0;
  while (type !== payload.none) {
    if (payloads.length >= ikePayloadsCountMax) return null;
    if (startByte + payloadHeaderBytes > bytes.length) return null;
    const endByte = startByte + bytes.readUInt16BE(startByte + 2);
    if (endByte < startByte + payloadHeaderBytes || endByte > bytes.length) return null;
    payloads.push({ type, body: bytes.subarray(startByte + payloadHeaderBytes, endByte) });
    type = bytes[startByte] ?? 0;
    startByte = endByte;
  }
  return startByte === bytes.length ? payloads : null;
}

interface Notify {
  readonly number: number;
  readonly data: Buffer;
}

/** Null when a notify is broken, or all of them together answer nothing. */
function replyOf(payloads: readonly Payload[]): InitReply | null {
  const notifies: Notify[] = [];
  for (const { type, body } of payloads) {
    if (type !== payload.notify) continue;
    const notify = notifyIn(body);
    if (!notify) return null;
    notifies.push(notify);
  }
  const has = (type: number) => payloads.some((one) => one.type === type);
  const error = notifies.find(({ number }) => number < statusNotify);
  const cookie = notifies.find(({ number }) => number === cookieNotify);
  if (cookie && (cookie.data.length === 0 || cookie.data.length > cookieBytesMax)) return null;
  const isAccepted = has(payload.sa) && has(payload.keyExchange) && has(payload.nonce);
  if (!isAccepted && !error && !cookie) return null;
  return {
    isAccepted,
    hasCookie: cookie !== undefined,
    errorNumber: error?.number ?? null,
    wantedGroup: error?.number === 17 && error.data.length === 2 ? error.data.readUInt16BE() : null,
    vendorIds: payloads.filter(({ type }) => type === payload.vendorId).map(({ body }) => body),
  };
}

/** §3.10: protocol, length of an SPI, number, SPI, data. */
function notifyIn(body: Buffer): Notify | null {
  const dataByte = 4 + (body[1] ?? 0);
  if (body.length < dataByte) return null;
  return { number: body.readUInt16BE(2), data: body.subarray(dataByte) };
}

function encodePayload(nextType: number, body: Buffer): Buffer {
  const header = Buffer.of(nextType, 0, 0, 0);
  header.writeUInt16BE(payloadHeaderBytes + body.length, 2);
  return Buffer.concat([header, body]);
}
