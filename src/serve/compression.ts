/**
 * Compression of what is text and not short. Quick rather than dense: it runs on the small machine that it watches.
 * The stream is left out, as what waits in a compressor is not live; a page's form tokens are masked (form-tokens.ts).
 */
import { promisify } from 'node:util';
import { brotliCompress, constants, gzip } from 'node:zlib';
import compress from '@fastify/compress';
import type { FastifyInstance } from 'fastify';
import { compressedBytesMin } from '../base/limits.ts';

const textual = /^text\/(?!event-stream)|[+/](?:json|xml)(?:;|$)|^application\/openmetrics-text/;

const brotliOptions = { params: { [constants.BROTLI_PARAM_QUALITY]: 4 } };
const zlibOptions = { level: 5 };

export async function compressAnswers(app: FastifyInstance): Promise<void> {
  await app.register(compress, {
    threshold: compressedBytesMin,
    customTypes: textual,
    encodings: ['br', 'gzip', 'identity'],
    brotliOptions,
    zlibOptions,
    // Requests come as they are: nobody may send a small body that becomes a large one.
    globalDecompression: false,
  });
}

/** In the order in which we like them best. */
const encodings = ['br', 'gzip'] as const;
export type Encoding = (typeof encodings)[number];

const ways = {
  br: (bytes: Buffer) => promisify(brotliCompress)(bytes, brotliOptions),
  gzip: (bytes: Buffer) => promisify(gzip)(bytes, zlibOptions),
};

/** For an answer that is given again and again. Does not keep the thread. */
export function compressed(bytes: Buffer, encoding: Encoding): Promise<Buffer> {
  return ways[encoding](bytes);
}

/** From an Accept-Encoding field (RFC 9110 §12.5.3); null: as it is. */
export function encodingWanted(field: string | undefined): Encoding | null {
  if (field === undefined) return null;
  const weights = new Map(field.toLowerCase().split(',').map(weighted));
  const weightOf = (encoding: string) => weights.get(encoding) ?? weights.get('*') ?? 0;
  const [best, other] = encodings;
  const wanted = weightOf(other) > weightOf(best) ? other : best;
  const asIs = weights.get('identity') ?? 0;
  return weightOf(wanted) > 0 && weightOf(wanted) >= asIs ? wanted : null;
}

/** `gzip;q=0.5`. A weight that is none counts as the highest. */
function weighted(part: string): [encoding: string, weight: number] {
  const [coding = '', ...parameters] = part.split(';').map((text) => text.trim());
  const q = parameters.find((text) => /^q\s*=/.test(text))?.replace(/^q\s*=\s*/, '') ?? '1';
  const weight = Number(q);
  return [coding === 'x-gzip' ? 'gzip' : coding, Number.isFinite(weight) ? weight : 1];
}
