/** Text from a peer is hostile: bounded and stripped here, before it goes anywhere. Escaping is the page's work. */
import { peerTextCharsMax } from './limits.ts';

// C0, DEL, C1; the marks that change the direction of what follows (Unicode UAX #9); line and paragraph separators.
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what this removes
const unprintable = /[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]+/g;

/** At most `charsMax` characters, no control characters, no direction marks, single spaces. Never throws. */
export function cleanText(text: string, charsMax: number = peerTextCharsMax): string {
  // Cut before the expensive part: a peer may send a megabyte.
  const bounded = text
    .slice(0, charsMax * 4)
    .replace(unprintable, ' ')
    .replace(/ {2,}/g, ' ')
    .trim();
  const chars = Array.from(bounded);
  return chars.length > charsMax ? `${chars.slice(0, charsMax - 1).join('')}…` : chars.join('');
}

/** The same for bytes, read as UTF-8 with replacement. */
export function cleanBytes(bytes: Uint8Array, charsMax: number = peerTextCharsMax): string {
  return cleanText(new TextDecoder().decode(bytes.subarray(0, charsMax * 8)), charsMax);
}
