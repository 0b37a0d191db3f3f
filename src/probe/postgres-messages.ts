/**
 * The frontend/backend protocol 3.0 of PostgreSQL: what the probe sends and what it understands.
 * Source: PostgreSQL 15 documentation, chapter "Frontend/Backend Protocol", sections "Message Flow", "Message Formats" and
 * "Error and Notice Message Fields". All integers are big-endian.
 */
import { peerBytesMax } from '../base/limits.ts';
import { cleanBytes } from '../base/text.ts';
import { type Decoded, decoded, malformed, needMore } from './decoding.ts';

/** 1234 in the most significant 16 bits, 5679 in the least: no version will ever be that. */
const sslRequestCode = 80_877_103;
/** Major 3 in the most significant 16 bits, minor 0 in the least. */
const protocolVersion = 196_608;

// What the probe sends ------------------------------------------------------------------------------------------------

export function encodeSslRequest(): Buffer {
  return untyped(int32(sslRequestCode));
}

/** `parameters` hold at least `user`. */
export function encodeStartup(parameters: Readonly<Record<string, string>>): Buffer {
  const pairs = Object.entries(parameters).flatMap(([name, value]) => [text(name), text(value)]);
  return untyped(int32(protocolVersion), ...pairs, Buffer.of(0));
}

/** Answers `cleartext` and `md5`. */
export function encodePassword(password: string): Buffer {
  return typed('p', text(password));
}

export function encodeSaslInitial(mechanism: string, response: string): Buffer {
  const bytes = Buffer.from(response);
  return typed('p', text(mechanism), int32(bytes.length), bytes);
}

export function encodeSaslResponse(response: string): Buffer {
  return typed('p', Buffer.from(response));
}

export function encodeQuery(sql: string): Buffer {
  return typed('Q', text(sql));
}

export function encodeTerminate(): Buffer {
  return typed('X');
}

// What the server sends -----------------------------------------------------------------------------------------------

/** How the server wants the sign-in, or a step of it. */
export type Authentication =
  | { readonly step: 'ok' | 'cleartext' | 'kerberos' | 'gss' | 'sspi' }
  | { readonly step: 'md5'; readonly salt: Buffer }
  | { readonly step: 'sasl'; readonly mechanisms: readonly string[] }
  | { readonly step: 'sasl-continue' | 'sasl-final'; readonly data: string };

/** Texts are bounded and stripped. */
export interface ServerError {
  /** SQLSTATE, five characters; empty where the server could not even start a process (the form before 3.0). */
  readonly code: string;
  readonly message: string;
  /** Empty when absent. */
  readonly detail: string;
}

export type ServerMessage =
  | { readonly kind: 'authentication'; readonly authentication: Authentication }
  | { readonly kind: 'error'; readonly error: ServerError }
  | { readonly kind: 'parameter'; readonly name: string; readonly value: string }
  /** Text of the first column; null for SQL NULL or no column. */
  | { readonly kind: 'row'; readonly first: string | null }
  | { readonly kind: 'ready' }
  /** Nothing that the probe needs: notices, keys, row descriptions, completions. */
  | { readonly kind: 'aside' };

type Body = (body: Buffer) => ServerMessage | string;

/** By type byte; a body that does not fit its message says why, as text. */
const bodies = new Map<string, Body>([
  ['R', authentication],
  ['E', errorResponse],
  ['S', parameterStatus],
  ['D', dataRow],
  ['Z', (body) => (body.length === 1 ? { kind: 'ready' } : 'ReadyForQuery is not one byte long')],
  ...['K', 'N', 'A', 'T', 'C', 'v'].map((type): [string, Body] => [
    type,
    () => ({ kind: 'aside' }),
  ]),
]);

/** The one byte that answers SSLRequest; `error`: an ErrorResponse stands there, and nothing was taken of it. */
export function decodeSslReply(bytes: Buffer): Decoded<'tls' | 'plain' | 'error'> {
  const [first] = bytes;
  if (first === undefined) return needMore;
  if (first === 0x45) return decoded('error', 0);
  if (first !== 0x53 && first !== 0x4e)
    return malformed(`${hex(first)} is no answer to SSLRequest`);
  // "SSL Session Encryption": bytes behind it could have been put there by somebody in the middle.
  if (bytes.length > 1) return malformed('more than one byte came before the TLS handshake');
  return decoded(first === 0x53 ? 'tls' : 'plain', 1);
}

/** One message: type, length (itself included, the type not), body. */
export function decodeMessage(bytes: Buffer): Decoded<ServerMessage> {
  const [first] = bytes;
  if (first === undefined) return needMore;
  const read = bodies.get(String.fromCharCode(first));
  if (!read) return malformed(`${hex(first)} is no type of a message`);
  if (bytes.length < 5) return needMore;
  const lengthBytes = bytes.readUInt32BE(1);
  if (first === 0x45 && lengthBytes > peerBytesMax) return decodeForkFailure(bytes);
  if (lengthBytes < 4) return malformed(`a message says that it is ${lengthBytes} bytes long`);
  if (lengthBytes >= peerBytesMax) return malformed(`a message of ${lengthBytes} bytes`);
  if (bytes.length < lengthBytes + 1) return needMore;
  const message = read(bytes.subarray(5, lengthBytes + 1));
  return typeof message === 'string' ? malformed(message) : decoded(message, lengthBytes + 1);
}

/** Without a process the server answers in the form before 3.0: `E`, text, NUL (postmaster.c, report_fork_failure_to_client). */
function decodeForkFailure(bytes: Buffer): Decoded<ServerMessage> {
  const end = bytes.indexOf(0);
  const textBytes = bytes.subarray(1, end < 0 ? bytes.length : end);
  if (textBytes.length > 1_024 || !textBytes.every(isOfText)) {
    return malformed('an error with a length that cannot be');
  }
  if (end < 0) return needMore;
  const error = { code: '', message: cleanBytes(textBytes), detail: '' };
  return decoded({ kind: 'error', error }, end + 1);
}

/** Bytes from 0xf5 do not occur in UTF-8 (RFC 3629 §1). */
function isOfText(byte: number): boolean {
  return (byte >= 0x20 && byte < 0xf5) || byte === 0x0a;
}

function authentication(body: Buffer): ServerMessage | string {
  if (body.length < 4) return 'Authentication without a code';
  const step = authenticationStep(body.readUInt32BE(0), body.subarray(4));
  return typeof step === 'string' ? step : { kind: 'authentication', authentication: step };
}

function authenticationStep(code: number, rest: Buffer): Authentication | string {
  switch (code) {
    case 0:
      return { step: 'ok' };
    case 2:
      return { step: 'kerberos' };
    case 3:
      return { step: 'cleartext' };
    case 5:
      return rest.length === 4
        ? { step: 'md5', salt: Buffer.from(rest) }
        : 'a salt that is not 4 bytes long';
    case 7:
    case 8:
      return { step: 'gss' };
    case 9:
      return { step: 'sspi' };
    case 10:
      return mechanisms(rest);
    case 11:
      return { step: 'sasl-continue', data: rest.toString() };
    case 12:
      return { step: 'sasl-final', data: rest.toString() };
    default:
      return `a sign-in of the unknown kind ${code}`;
  }
}

/** Names that end in NUL, then one more NUL. */
function mechanisms(list: Buffer): Authentication | string {
  const names = list.toString('latin1').split('\0');
  if (names.length < 3 || names.at(-1) !== '' || names.at(-2) !== '') {
    return 'a list of sign-ins without its end';
  }
  return { step: 'sasl', mechanisms: names.slice(0, -2) };
}

/** Fields: a letter and a text that ends in NUL; a NUL in place of a letter ends them. */
function errorResponse(body: Buffer): ServerMessage | string {
  const fields = new Map<string, string>();
  let at = 0;
  while (body[at] !== 0) {
    const end = body.indexOf(0, at);
    if (end < 0) return 'an error without its end';
    fields.set(body.toString('latin1', at, at + 1), cleanBytes(body.subarray(at + 1, end)));
    at = end + 1;
  }
  const code = fields.get('C') ?? '';
  if (!/^[0-9A-Z]{5}$/.test(code)) return 'an error without its code';
  return {
    kind: 'error',
    error: { code, message: fields.get('M') ?? '', detail: fields.get('D') ?? '' },
  };
}

function parameterStatus(body: Buffer): ServerMessage | string {
  const middle = body.indexOf(0);
  if (middle < 0 || body.indexOf(0, middle + 1) !== body.length - 1)
    return 'a parameter without its end';
  return {
    kind: 'parameter',
    name: cleanBytes(body.subarray(0, middle)),
    value: cleanBytes(body.subarray(middle + 1, -1)),
  };
}

/** Int16 columns, then for each Int32 length (−1: NULL) and bytes. */
function dataRow(body: Buffer): ServerMessage | string {
  if (body.length < 2) return 'a row without its columns';
  if (body.readUInt16BE(0) === 0) return { kind: 'row', first: null };
  if (body.length < 6) return 'a column without its length';
  const lengthBytes = body.readInt32BE(2);
  if (lengthBytes < 0) return { kind: 'row', first: null };
  if (lengthBytes > body.length - 6) return 'a column longer than its row';
  return { kind: 'row', first: cleanBytes(body.subarray(6, 6 + lengthBytes)) };
}

// Parts ---------------------------------------------------------------------------------------------------------------

function untyped(...parts: readonly Buffer[]): Buffer {
  const body = Buffer.concat(parts);
  return Buffer.concat([int32(body.length + 4), body]);
}

function typed(type: string, ...parts: readonly Buffer[]): Buffer {
  return Buffer.concat([Buffer.from(type, 'latin1'), untyped(...parts)]);
}

function int32(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeInt32BE(value);
  return bytes;
}

function text(value: string): Buffer {
  return Buffer.from(`${value}\0`);
}

function hex(byte: number): string {
  return `0x${byte.toString(16).padStart(2, '0')}`;
}
