/** The output of a command is hostile: bytes in, the end of it as lines of plain text out. */
import { tailBytesMax } from './limits.ts';
import { cleanText } from './text.ts';

// Escape sequences as terminals know them (ECMA-48 §5.4: CSI; §5.6: strings such as OSC up to BEL or ST; §5.5: others).
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what this removes
const csi = /\u001b\[[0-?]*[ -/]*[@-~]/g;
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what this removes
const strings = /\u001b[\]PX^_][^\u0007\u001b]*(?:\u0007|\u001b\\)?/g;
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what this removes
const otherEscapes = /\u001b[ -/]*[0-~]/g;
// All controls but tab and line feed; marks of direction (Unicode UAX #9); separators; what is no character.
const unprintable =
  // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what this removes
  /[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ufffe\uffff]/g;

/** Of the last bytes of an output. No control characters but line ends and tabs; bytes that are no UTF-8 are replaced. */
export function outputTail(bytes: Uint8Array): string {
  const last = bytes.subarray(Math.max(bytes.length - tailBytesMax, 0));
  const text = new TextDecoder()
    .decode(last.subarray(firstWhole(last)))
    .replace(/\r\n?/g, '\n')
    .replace(csi, '')
    .replace(strings, '')
    .replace(otherEscapes, '')
    .replace(unprintable, '')
    .replace(/[ \t]+$/gm, '')
    .replace(/\n{3,}/g, '\n\n')
    .trim();
  return bounded(text);
}

/** The last line that says something; empty where none does. */
export function lastLine(tail: string, charsMax?: number): string {
  const line = tail.split('\n').findLast((one) => /[\p{L}\p{N}]/u.test(one)) ?? '';
  return cleanText(line, charsMax);
}

/** The last lines, of at most so many characters. */
export function lastLines(tail: string, charsMax: number): string {
  if (tail.length <= charsMax) return tail;
  const cut = tail.slice(-charsMax);
  const line = cut.indexOf('\n');
  // A line that was cut is no line, unless there is no other.
  return line === -1 || line === cut.length - 1
    ? cut.replace(/^[\udc00-\udfff]/, '')
    : cut.slice(line + 1);
}

/** Replacement characters take three bytes where one was: the bound holds for what is kept. */
function bounded(text: string): string {
  const bytes = Buffer.from(text);
  if (bytes.length <= tailBytesMax) return text;
  const last = bytes.subarray(bytes.length - tailBytesMax);
  return last.subarray(firstWhole(last)).toString();
}

/** Where the first character begins that was not cut through (RFC 3629 §3: the bytes that go on in one begin with 10). */
function firstWhole(bytes: Uint8Array): number {
  return Math.max(
    bytes.subarray(0, 4).findIndex((byte) => (byte & 0xc0) !== 0x80),
    0,
  );
}
