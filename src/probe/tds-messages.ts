/**
 * Tabular Data Stream up to the sign-in: packets and PRELOGIN.
 * Source: [MS-TDS], §2.2.3.1 packet header, §2.2.6.5 PRELOGIN, §2.2.7.10 ERROR. Headers and options are big-endian,
 * tokens little-endian.
 */
import { tdsPacketBytesMax, tdsPacketsCountMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { type Decoded, decoded, malformed, needMore } from './decoding.ts';

const headerBytes = 8;
/** §2.2.3.1.1 */
const types = { tabularResult: 0x04, prelogin: 0x12 } as const;
/** §2.2.3.1.2: the last packet of a message. */
const endOfMessage = 0x01;
const errorToken = 0xaa;

/** Options of PRELOGIN, by their token (§2.2.6.5). */
export const preloginOptions = {
  version: 0x00,
  encryption: 0x01,
  instance: 0x02,
  threadId: 0x03,
  mars: 0x04,
  fedAuthRequired: 0x06,
} as const;
const terminator = 0xff;

/** Token and content of each option, in their order. */
export type Options = readonly (readonly [token: number, content: Uint8Array])[];

/** The table, then the contents one after the other; offsets count from the table's begin. */
export function encodeOptions(options: Options): Buffer {
  let offset = options.length * 5 + 1;
  const rows = options.map(([token, content]) => {
    const row = Buffer.alloc(5, token);
    row.writeUInt16BE(offset, 1);
    row.writeUInt16BE(content.length, 3);
    offset += content.length;
    return row;
  });
  return Buffer.concat([...rows, Buffer.of(terminator), ...options.map(([, content]) => content)]);
}

/** A message in one packet; packets are counted from 1 (§2.2.3.1.5). */
export function encodePacket(type: number, payload: Uint8Array): Buffer {
  const header = Buffer.alloc(headerBytes);
  header.writeUInt8(type, 0);
  header.writeUInt8(endOfMessage, 1);
  header.writeUInt16BE(headerBytes + payload.length, 2);
  header.writeUInt8(1, 6);
  return Buffer.concat([header, payload]);
}

/**
 * The least that a server must answer. Encryption off learns the most: the server says whether it has TLS at all, wants
 * it for the sign-in alone, or for everything. `instance`: the server shall say whether it is this one.
 */
export function encodePrelogin(instance: string | undefined): Buffer {
  const named = instance === undefined ? [] : [instanceOption(instance)];
  return encodePacket(
    types.prelogin,
    encodeOptions([
      [preloginOptions.version, Buffer.alloc(6)],
      [preloginOptions.encryption, Buffer.of(0x00)],
      ...named,
    ]),
  );
}

function instanceOption(instance: string): readonly [number, Buffer] {
  return [preloginOptions.instance, Buffer.from(`${instance}\0`)];
}

/** §2.2.6.5, the server's answer to a client that does not ask for encryption; 2 is the only one without any. */
const encryptions = new Map([
  [0x00, 'sign-in only'],
  [0x01, 'on'],
  [0x02, 'not supported'],
  [0x03, 'required'],
]);

export type Reply =
  | {
      readonly kind: 'prelogin';
      /** `16.0.1000`. */
      readonly version: string;
      /** In words; undefined where the server leaves it out. */
      readonly encryption: string | undefined;
      /** The server says that it is another instance than the one that was named. */
      readonly otherInstance: boolean;
      /** It takes federated sign-ins only; undefined where it does not say. */
      readonly federated: boolean | undefined;
    }
  /** Refused before the sign-in; the text is bounded and stripped. */
  | { readonly kind: 'error'; readonly number: number; readonly message: string };

/** The answer to PRELOGIN, which may be spread over some packets. */
export function decodeReply(bytes: Buffer): Decoded<Reply> {
  const message = decodeMessage(bytes);
  if (message.state !== 'value') return message;
  const payload = message.value;
  const reply = payload[0] === errorToken ? errorReply(payload) : preloginReply(payload);
  return typeof reply === 'string' ? malformed(reply) : decoded(reply, message.usedBytes);
}

function decodeMessage(bytes: Buffer): Decoded<Buffer> {
  const payloads: Buffer[] = [];
  let usedBytes = 0;
  while (payloads.length < tdsPacketsCountMax) {
    const packet = decodePacket(bytes.subarray(usedBytes));
    if (packet.state !== 'value') return packet;
    usedBytes += packet.usedBytes;
    payloads.push(packet.value.payload);
    if (packet.value.last) return decoded(Buffer.concat(payloads), usedBytes);
  }
  return malformed(`an answer over more than ${tdsPacketsCountMax} packets`);
}

function decodePacket(bytes: Buffer): Decoded<{ payload: Buffer; last: boolean }> {
  const [type] = bytes;
  if (type === undefined) return needMore;
  if (type !== types.tabularResult) return malformed(`a packet of type ${type}`);
  if (bytes.length < 4) return needMore;
  const lengthBytes = bytes.readUInt16BE(2);
  if (lengthBytes <= headerBytes || lengthBytes > tdsPacketBytesMax) {
    return malformed(`a packet that says it is ${lengthBytes} bytes long`);
  }
  if (bytes.length < lengthBytes) return needMore;
  const last = (bytes.readUInt8(1) & endOfMessage) !== 0;
  return decoded({ payload: bytes.subarray(headerBytes, lengthBytes), last }, lengthBytes);
}

function preloginReply(payload: Buffer): Reply | string {
  const options = readOptions(payload);
  if (typeof options === 'string') return options;
  const version = options.get(preloginOptions.version);
  // §2.2.6.5: VERSION must be there and stand first.
  if (payload[0] !== preloginOptions.version || version?.length !== 6) {
    return 'its version does not come first, or is not 6 bytes long';
  }
  const encryption = options.get(preloginOptions.encryption)?.[0];
  const federated = options.get(preloginOptions.fedAuthRequired)?.[0];
  return {
    kind: 'prelogin',
    version: `${version[0]}.${version[1]}.${version.readUInt16BE(2)}`,
    encryption:
      encryption === undefined ? undefined : (encryptions.get(encryption) ?? `${encryption}`),
    otherInstance: options.get(preloginOptions.instance)?.[0] === 0x01,
    federated: federated === undefined ? undefined : federated === 0x01,
  };
}

/** Contents may share bytes and may be empty, as real servers send them. Nothing points into the table itself. */
function readOptions(payload: Buffer): ReadonlyMap<number, Buffer> | string {
  const options = new Map<number, Buffer>();
  const endByte = tableEnd(payload);
  if (endByte === null) return 'a table of options without an end';
  for (let at = 0; at < endByte - 1; at += 5) {
    const token = payload.readUInt8(at);
    const fromByte = payload.readUInt16BE(at + 1);
    const toByte = fromByte + payload.readUInt16BE(at + 3);
    if (options.has(token)) return `the option ${token} twice`;
    if (toByte > payload.length || (toByte > fromByte && fromByte < endByte)) {
      return `the option ${token} outside of its place`;
    }
    options.set(token, payload.subarray(fromByte, toByte));
  }
  return options;
}

/** The byte behind the terminator. */
function tableEnd(payload: Buffer): number | null {
  for (let at = 0; at < payload.length; at += 5) {
    if (payload[at] === terminator) return at + 1;
  }
  return null;
}

/** Token, length 2, number 4, state 1, class 1, characters 2, text in UTF-16; the rest is not of interest. */
function errorReply(payload: Buffer): Reply | string {
  if (payload.length < 11) return 'an error without its text';
  const textEndByte = 11 + payload.readUInt16LE(9) * 2;
  if (textEndByte > payload.length) return 'an error with a text longer than itself';
  return {
    kind: 'error',
    number: payload.readUInt32LE(3),
    message: cleanText(payload.toString('utf16le', 11, Math.min(textEndByte, 11 + 2_048))),
  };
}
