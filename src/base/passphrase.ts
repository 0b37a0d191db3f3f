/**
 * Passphrases as they are kept: hashed by scrypt (RFC 7914), so that neither the file nor the memory of whoever reads it
 * gives back what was typed.
 */
import { randomBytes, scrypt, timingSafeEqual } from 'node:crypto';
import { promisify } from 'node:util';
import { passphraseCharsMax } from './limits.ts';

/** What a derivation costs; `ln` is the binary logarithm of N. */
interface Cost {
  readonly ln: number;
  readonly r: number;
  readonly p: number;
}

interface Hashed extends Cost {
  readonly salt: Buffer;
  readonly key: Buffer;
}

/**
 * OWASP Password Storage Cheat Sheet, "scrypt": of its equally strong figures the one with 16 MiB (N = 2^14, r = 8,
 * p = 5), as a sign-in must not double what a small machine gives to Rollcall. r = 8 is that of RFC 7914 §2.
 */
const ownCost: Cost = { ln: 14, r: 8, p: 5 };
/** RFC 8018 §4.1 recommends at least 8 bytes, which the form below asks for; ours has twice that. */
const saltBytes = 16;
const keyBytes = 32;
const form = /^scrypt:(\d{1,2}):(\d{1,2}):(\d{1,2}):([\w-]{11,86}):([\w-]{43})$/;
/** What a hash from elsewhere may cost here: 128 · N · r bytes (RFC 7914 §5). */
const memoryBytesMax = 128 * 1_024 * 1_024;
const parallelMax = 16;

const derived = promisify<string, Buffer, number, object, Buffer>(scrypt);

/** `scrypt:14:8:5:SALT:KEY`: ln N, r, p, and salt and key in base64url. The salt is fresh unless one is given. */
export async function hashPassphrase(
  passphrase: string,
  salt: Buffer = randomBytes(saltBytes),
): Promise<string> {
  const key = await keyOf(passphrase, salt, ownCost);
  const { ln, r, p } = ownCost;
  return ['scrypt', ln, r, p, salt.toString('base64url'), key.toString('base64url')].join(':');
}

export function isHashedPassphrase(text: string): boolean {
  return hashedIn(text) !== null;
}

/** Takes as long for a wrong one as for the right one. Throws for a `hashed` that is none. */
export async function passphraseMatches(passphrase: string, hashed: string): Promise<boolean> {
  const known = hashedIn(hashed);
  if (known === null) throw new Error('not a hashed passphrase');
  const key = await keyOf(passphrase, known.salt, known);
  return timingSafeEqual(key, known.key);
}

function hashedIn(text: string): Hashed | null {
  const [, ln, r, p, salt, key] = form.exec(text) ?? [];
  if (ln === undefined || salt === undefined || key === undefined) return null;
  const cost = { ln: Number(ln), r: Number(r), p: Number(p) };
  const memoryBytes = 128 * 2 ** cost.ln * cost.r;
  if (cost.ln < 10 || cost.r < 1 || memoryBytes > memoryBytesMax) return null;
  if (cost.p < 1 || cost.p > parallelMax) return null;
  return { ...cost, salt: Buffer.from(salt, 'base64url'), key: Buffer.from(key, 'base64url') };
}

/** Keyboards differ in how they put an accented letter together: NFKC first (NIST SP 800-63B §5.1.1.2). */
function keyOf(passphrase: string, salt: Buffer, { ln, r, p }: Cost): Promise<Buffer> {
  const text = passphrase.slice(0, passphraseCharsMax).normalize('NFKC');
  const maxmem = 2 * memoryBytesMax;
  return derived(text, salt, keyBytes, { N: 2 ** ln, r, p, maxmem });
}
