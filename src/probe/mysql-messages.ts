/**
 * The client/server protocol of MySQL and MariaDB: what the probe sends and what it understands.
 * Sources: MySQL Server source documentation, "MySQL Packets", "Protocol::HandshakeV10", "Protocol::SSLRequest",
 * "Protocol::HandshakeResponse41", "Protocol::AuthSwitchRequest", "Protocol::AuthMoreData", "OK_Packet", "ERR_Packet",
 * "Text Resultset". All integers are little-endian.
 */
import { mysqlPacketBytesMax } from '../base/limits.ts';
import { cleanBytes } from '../base/text.ts';
import { type Decoded, type Decoder, decoded, malformed, needMore } from './decoding.ts';

/** Capability flags ("Capabilities Flags"), of those that matter here. */
const flags = {
  /** MariaDB leaves it clear in its greeting. */
  longPassword: 1,
  connectWithDatabase: 1 << 3,
  protocol41: 1 << 9,
  tls: 1 << 11,
  secureConnection: 1 << 15,
  pluginAuth: 1 << 19,
} as const;

/** utf8mb4_general_ci. */
const collation = 45;
/** The largest packet that the probe would take: says nothing of what it really takes. */
const maxPacketBytes = 0xff_ff_ff;

// What the probe sends ------------------------------------------------------------------------------------------------

/** `sequence` counts the packets of one exchange, both sides together, from 0. */
export function encodePacket(sequence: number, payload: Uint8Array): Buffer {
  const head = Buffer.alloc(4);
  head.writeUIntLE(payload.length, 0, 3);
  head.writeUInt8(sequence & 0xff, 3);
  return Buffer.concat([head, payload]);
}

export interface HandshakeResponse {
  readonly user: string;
  readonly plugin: string;
  /** What the plugin makes of the password; empty without one. */
  readonly proof: Uint8Array;
  readonly database?: string | undefined;
  /** It is sent within TLS. */
  readonly tls: boolean;
}

/** The beginning of the response that follows within TLS: MariaDB reads the flags here and not again. */
export function encodeSslRequest({ database }: Pick<HandshakeResponse, 'database'>): Buffer {
  return responseHead({ database, tls: true });
}

export function encodeHandshakeResponse(response: HandshakeResponse): Buffer {
  const { user, plugin, proof, database, tls } = response;
  return Buffer.concat([
    responseHead({ database, tls }),
    text(user),
    Buffer.of(proof.length),
    proof,
    ...(database === undefined ? [] : [text(database)]),
    text(plugin),
  ]);
}

/** COM_QUERY. */
export function encodeQuery(sql: string): Buffer {
  return Buffer.concat([Buffer.of(3), Buffer.from(sql)]);
}

/** COM_QUIT. */
export function encodeQuit(): Buffer {
  return Buffer.of(1);
}

function responseHead({ database, tls }: Pick<HandshakeResponse, 'database' | 'tls'>): Buffer {
  const head = Buffer.alloc(32);
  const always = flags.longPassword | flags.protocol41 | flags.secureConnection | flags.pluginAuth;
  const withDatabase = database === undefined ? 0 : flags.connectWithDatabase;
  head.writeUInt32LE(always | withDatabase | (tls ? flags.tls : 0), 0);
  head.writeUInt32LE(maxPacketBytes, 4);
  head.writeUInt8(collation, 8);
  return head;
}

function text(value: string): Buffer {
  return Buffer.from(`${value}\0`);
}

// What the server sends -----------------------------------------------------------------------------------------------

/** Texts are bounded and stripped. */
export interface Greeting {
  readonly kind: 'greeting';
  /** Without the `5.5.5-` that MariaDB puts before its own up to 10.x. */
  readonly version: string;
  readonly flavour: 'MariaDB' | 'MySQL';
  readonly offersTls: boolean;
  /** 20 bytes; 8 of a server that is older than 4.1. */
  readonly scramble: Buffer;
  /** Plugin for the sign-in that the server would like; empty where it does not say. */
  readonly plugin: string;
}

export interface ServerError {
  readonly kind: 'error';
  readonly code: number;
  /** SQLSTATE; empty before the greeting. */
  readonly state: string;
  readonly message: string;
}

export type AuthReply =
  | { readonly kind: 'ok' }
  | ServerError
  | { readonly kind: 'switch'; readonly plugin: string; readonly data: Buffer }
  | { readonly kind: 'more'; readonly data: Buffer };

/** The one row of one column that `SELECT 1` gives. */
export type Answer = { readonly kind: 'value'; readonly text: string } | ServerError;

/** The first packet of a server. */
export const decodeGreeting = packet(0, (payload): Greeting | ServerError | string =>
  payload[0] === 0xff ? serverError(payload) : greeting(payload),
);

export function decodeAuthReply(sequence: number): Decoder<AuthReply> {
  return packet(sequence, authReply);
}

/** All packets of the answer to a query; the first has the sequence 1. */
export function decodeAnswer(bytes: Buffer): Decoded<Answer> {
  let value = '';
  let usedBytes = 0;
  for (const [index, part] of answerParts.entries()) {
    const next = packet(index + 1, (payload) =>
      payload[0] === 0xff ? serverError(payload) : payload,
    )(bytes.subarray(usedBytes));
    if (next.state !== 'value') return next;
    usedBytes += next.usedBytes;
    if (!Buffer.isBuffer(next.value)) return decoded(next.value, usedBytes);
    if (!part.fits(next.value)) return malformed(`its result lacks ${part.name}`);
    if (part.name === 'a row') value = cleanBytes(next.value.subarray(1));
  }
  return decoded({ kind: 'value', text: value }, usedBytes);
}

interface Part {
  readonly name: string;
  readonly fits: (payload: Buffer) => boolean;
}

const endPart: Part = {
  name: 'an end',
  fits: (payload) => payload[0] === 0xfe && payload.length < 9,
};

/** "Text Resultset" for one column and one row. */
const answerParts: readonly Part[] = [
  { name: 'a count of one column', fits: (payload) => payload.length === 1 && payload[0] === 1 },
  { name: 'a column', fits: (payload) => payload.length > 12 },
  endPart,
  { name: 'a row', fits: (payload) => payload[0] === payload.length - 1 && payload.length < 0xfb },
  endPart,
];

/** Length (3), sequence (1), payload. */
function packet<T>(
  sequence: number,
  read: (payload: Buffer) => T | string,
): Decoder<Exclude<T, string>> {
  return (bytes) => {
    const length = payloadLength(bytes, sequence & 0xff);
    if (length.state !== 'value') return length;
    const endByte = length.value + 4;
    if (bytes.length < endByte) return needMore;
    // A copy: the bytes that a decoder gets are only lent.
    const value = read(Buffer.from(bytes.subarray(4, endByte)));
    return typeof value === 'string'
      ? malformed(value)
      : decoded(value as Exclude<T, string>, endByte);
  };
}

/** An error may come at any time, with any sequence; but not in place of the greeting. */
function payloadLength(bytes: Buffer, due: number): Decoded<number> {
  if (bytes.length < 4) return needMore;
  const lengthBytes = bytes.readUIntLE(0, 3);
  if (lengthBytes === 0) return malformed('a packet without content');
  if (lengthBytes > mysqlPacketBytesMax) return malformed(`a packet of ${lengthBytes} bytes`);
  if (bytes.length < 5) return needMore;
  const sequence = bytes.readUInt8(3);
  const lateError = bytes[4] === 0xff && due > 0;
  if (sequence !== due && !lateError) {
    return malformed(`a packet with the sequence ${sequence} where ${due} is due`);
  }
  return decoded(lengthBytes, 4);
}

/** Behind the version: connection id 4, scramble 8, 0, capabilities 2; from 4.1 on more (see the offsets). */
function greeting(payload: Buffer): Greeting | string {
  if (payload[0] !== 10) return `it greets in version ${payload[0]} of the protocol`;
  const end = payload.indexOf(0, 1);
  if (end < 0 || end > 256) return 'a version without its end';
  const rest = payload.subarray(end + 1);
  if (rest.length < 15) return 'a greeting without its capabilities';
  const high = rest.length >= 20 ? rest.readUInt16LE(18) : 0;
  const capabilities = rest.readUInt16LE(13) | (high << 16);
  const scrambled = secondScramble(rest, (capabilities & flags.secureConnection) !== 0);
  if (typeof scrambled === 'string') return scrambled;
  return {
    kind: 'greeting',
    ...productOf(cleanBytes(payload.subarray(1, end))),
    offersTls: (capabilities & flags.tls) !== 0,
    scramble: Buffer.concat([rest.subarray(4, 12), scrambled.bytes]),
    plugin: capabilities & flags.pluginAuth ? untilNul(rest.subarray(scrambled.endByte)) : '',
  };
}

/** At 20 the length of both parts together, at 31 the second: at least 13 bytes, the last of them NUL. */
function secondScramble(
  rest: Buffer,
  announced: boolean,
): { readonly bytes: Buffer; readonly endByte: number } | string {
  if (!announced) return { bytes: Buffer.alloc(0), endByte: rest.length };
  if (rest.length < 43) return 'a scramble without its end';
  return { bytes: rest.subarray(31, 43), endByte: 31 + Math.max(13, (rest[20] ?? 0) - 8) };
}

function productOf(version: string): Pick<Greeting, 'version' | 'flavour'> {
  if (!/mariadb/i.test(version)) return { version, flavour: 'MySQL' };
  return { version: version.replace(/^5\.5\.5-/, ''), flavour: 'MariaDB' };
}

function serverError(payload: Buffer): ServerError | string {
  if (payload.length < 3) return 'an error without its code';
  const withState = payload[3] === 0x23 && payload.length >= 9;
  return {
    kind: 'error',
    code: payload.readUInt16LE(1),
    state: withState ? cleanBytes(payload.subarray(4, 9)) : '',
    message: cleanBytes(payload.subarray(withState ? 9 : 3)),
  };
}

function authReply(payload: Buffer): AuthReply | string {
  switch (payload[0]) {
    case 0x00:
      return payload.length < 7 ? 'an OK that is too short' : { kind: 'ok' };
    case 0x01:
      return { kind: 'more', data: payload.subarray(1) };
    case 0xfe:
      return switchRequest(payload);
    case 0xff:
      return serverError(payload);
    default:
      // Some plugins of MariaDB write what they have to say without anything before it.
      return { kind: 'more', data: payload };
  }
}

/** Nothing in it: the method from before 4.1 is asked for ("Protocol::OldAuthSwitchRequest"). */
function switchRequest(payload: Buffer): AuthReply | string {
  if (payload.length === 1) return { kind: 'switch', plugin: 'mysql_old_password', data: payload };
  const end = payload.indexOf(0, 1);
  if (end < 0) return 'a plugin without its end';
  const plugin = cleanBytes(payload.subarray(1, end));
  return { kind: 'switch', plugin, data: payload.subarray(end + 1) };
}

/** Some servers leave the last NUL out. */
function untilNul(bytes: Buffer): string {
  const end = bytes.indexOf(0);
  return cleanBytes(end < 0 ? bytes : bytes.subarray(0, end));
}
