/**
 * What shows that a form was filled in on this board by who is signed in: the session's own secret, masked anew in each
 * page, so that a compressed page gives nothing away by its length (BREACH, Gluck, Harris & Prado 2013).
 */
import { createHmac, randomBytes, timingSafeEqual } from 'node:crypto';

const secretBytes = 32;

export interface FormTokens {
  make(sessionId: string): string;
  fits(sessionId: string, token: string): boolean;
}

export function formTokensWith(key: Buffer): FormTokens {
  const secretOf = (sessionId: string) => createHmac('sha256', key).update(sessionId).digest();
  return {
    make: (sessionId) => {
      const mask = randomBytes(secretBytes);
      return Buffer.concat([mask, xor(mask, secretOf(sessionId))]).toString('base64url');
    },
    fits: (sessionId, token) => {
      const bytes = Buffer.from(token, 'base64url');
      if (bytes.length !== 2 * secretBytes) return false;
      const secret = xor(bytes.subarray(0, secretBytes), bytes.subarray(secretBytes));
      return timingSafeEqual(secret, secretOf(sessionId));
    },
  };
}

function xor(one: Uint8Array, other: Uint8Array): Buffer {
  return Buffer.from(one.map((byte, place) => byte ^ (other[place] ?? 0)));
}
