/**
 * SCRAM-SHA-256 as a client, without channel binding. Pure but for the key derivation, which runs in a thread.
 * Sources: RFC 5802 §3 (algorithm), §5 and §7 (messages); RFC 7677 §3 (SHA-256, an example).
 */
import { createHash, createHmac, pbkdf2, timingSafeEqual } from 'node:crypto';
import { promisify } from 'node:util';
import { scramIterationsMax } from '../base/limits.ts';

const derive = promisify(pbkdf2);

/** "n,,": this client does not support channel binding and acts for nobody else (RFC 5802 §7, gs2-header). */
const gs2Header = 'n,,';

/** `user` is empty where the protocol around it has told it already. The nonce is printable ASCII without comma. */
export function clientFirst(user: string, nonce: string): string {
  return `${gs2Header}${clientFirstBare(user, nonce)}`;
}

export interface Challenge {
  readonly nonce: string;
  readonly salt: Buffer;
  readonly iterations: number;
}

/** A text says what is wrong: a hostile server could ask for hours of calculation, or replay somebody else's nonce. */
export function readServerFirst(message: string, clientNonce: string): Challenge | string {
  const match =
    /^r=([\x21-\x2b\x2d-\x7e]{1,512}),s=([A-Za-z0-9+/]{1,1024}={0,2}),i=([1-9]\d{0,9})(?:,|$)/.exec(
      message,
    );
  const [, nonce, salt, iterations] = match ?? [];
  if (nonce === undefined || salt === undefined || iterations === undefined) {
    return 'its first message is not as RFC 5802 says';
  }
  if (!nonce.startsWith(clientNonce) || nonce.length === clientNonce.length) {
    return 'its nonce does not continue ours';
  }
  if (Number(iterations) > scramIterationsMax) return `it asks for ${iterations} iterations`;
  return { nonce, salt: Buffer.from(salt, 'base64'), iterations: Number(iterations) };
}

interface Account {
  readonly user: string;
  readonly password: string;
  readonly nonce: string;
}

export interface Proof {
  readonly clientFinal: string;
  readonly serverSignature: Buffer;
}

/** `serverFirst` is the message that `challenge` was read from. */
export async function prove(
  account: Account,
  serverFirst: string,
  challenge: Challenge,
): Promise<Proof> {
  // RFC 4013 for what people type: it ends in this normalisation.
  const password = account.password.normalize('NFKC');
  const salted = await derive(password, challenge.salt, challenge.iterations, 32, 'sha256');
  const clientKey = hmac(salted, 'Client Key');
  const storedKey = createHash('sha256').update(clientKey).digest();
  const withoutProof = `c=${Buffer.from(gs2Header).toString('base64')},r=${challenge.nonce}`;
  const message = `${clientFirstBare(account.user, account.nonce)},${serverFirst},${withoutProof}`;
  const signature = hmac(storedKey, message);
  const proof = Buffer.from(clientKey.map((byte, index) => byte ^ (signature[index] ?? 0)));
  return {
    clientFinal: `${withoutProof},p=${proof.toString('base64')}`,
    serverSignature: hmac(hmac(salted, 'Server Key'), message),
  };
}

/** Whether the server has shown that it knows the account too. */
export function serverProves(message: string, expected: Buffer): boolean {
  const [, signature] = /^v=([A-Za-z0-9+/]{43}=)(?:,|$)/.exec(message) ?? [];
  return signature !== undefined && timingSafeEqual(Buffer.from(signature, 'base64'), expected);
}

function clientFirstBare(user: string, nonce: string): string {
  return `n=${user.replaceAll('=', '=3D').replaceAll(',', '=2C')},r=${nonce}`;
}

function hmac(key: Buffer, message: string): Buffer {
  return createHmac('sha256', key).update(message).digest();
}
