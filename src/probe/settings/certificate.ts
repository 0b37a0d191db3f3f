/** What a TLS peer must show: settings shared by every probe that speaks TLS. */
import * as z from 'zod';
import { duration } from './words.ts';

const hourMs = 3_600_000;

/** `sha256/` and the base64 of a SHA-256 over the DER SubjectPublicKeyInfo (RFC 7469 §2.4). */
const pin = z
  .string('expected sha256/ and 44 characters of base64')
  .regex(/^sha256\/[A-Za-z0-9+/]{43}=$/, 'expected sha256/ and 44 characters of base64')
  .describe('The pinned public key of the server. Replaces the check of name and authority.');

/** `file:PATH` was replaced by the file's content before this is read. */
const trust = z
  .string('expected system, any, or file: and the path of a PEM file')
  .max(1_048_576)
  .refine(
    (text) => text === 'system' || text === 'any' || holdsCertificate(text),
    'expected system, any, or file: and the path of a PEM file with certificates',
  )
  .describe(
    'Who may sign: `system` (the store of this machine), `any` (nobody is asked; name and dates are still judged), or your own authority as file:PATH.',
  );

export const certificate = z.strictObject({
  warn: duration({ minMs: hourMs, maxMs: 3_650 * 24 * hourMs })
    .optional()
    .describe(
      'Flag the certificate this long before it ends; by default 21d or a third of its life.',
    ),
  trust: trust.default('system'),
  pin: pin.optional(),
});

/** `warn` in milliseconds. */
export type CertificateSettings = z.output<typeof certificate>;

/** Nothing configured. */
export const ordinaryCertificate: CertificateSettings = { trust: 'system' };

function holdsCertificate(text: string): boolean {
  return /-----BEGIN CERTIFICATE-----[\s\S]+?-----END CERTIFICATE-----/.test(text);
}
