/**
 * Headers of a request by the Standard Webhooks specification: id, time of this attempt, signature of both and the body.
 * The signature is the library's work (HMAC-SHA256 over `id.timestamp.body`).
 */
import { Webhook } from 'standardwebhooks';

export interface Signed {
  readonly id: string;
  /** Instant of the attempt. */
  readonly at: number;
  /** Exactly what is sent. */
  readonly body: string;
}

/** Without a secret the signature is left out; id and time tell a receiver all the same what it has seen before. */
export function signatureHeaders(
  secret: string | null,
  { id, at, body }: Signed,
): Record<string, string> {
  const headers = { 'webhook-id': id, 'webhook-timestamp': String(Math.floor(at / 1000)) };
  if (secret === null) return headers;
  // biome-ignore lint/style/noRestrictedGlobals: the library wants a Date; no clock is read
  const signature = new Webhook(secret).sign(id, new Date(at), body);
  return { ...headers, 'webhook-signature': signature };
}
