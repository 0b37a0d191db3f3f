/**
 * Compression of what is text and not short. Quick rather than dense: it runs on the small machine that it watches.
 * Whole answers only: what waits in a compressor of a stream is not live. A page's form tokens are masked (form-tokens.ts).
 * With @fastify/compress come a register of all types of media and two libraries of streams, a megabyte in all.
 */
import { promisify } from 'node:util';
import { brotliCompress, constants, gzip } from 'node:zlib';
import type { FastifyInstance, FastifyReply } from 'fastify';
import { compressedBytesMin } from '../base/limits.ts';

const textual = /^text\/(?!event-stream)|[+/](?:json|xml)(?:;|$)|^application\/openmetrics-text/;

const brotliOptions = { params: { [constants.BROTLI_PARAM_QUALITY]: 4 } };
const zlibOptions = { level: 5 };

/** Of what a request accepts (RFC 9110 §12.5.3), where it is worth it. What a page keeps compressed says so itself. */
export function compressAnswers(app: FastifyInstance): void {
  app.addHook<string | Buffer>('onSend', async (request, reply, payload) => {
    // What has no content needs none of it, and may do without the fields that describe it (§9.3.2).
    if (request.method === 'HEAD' || !isWorthIt(reply, payload)) return payload;
    const varies = reply.getHeader('vary');
    reply.header('vary', varies === undefined ? 'accept-encoding' : `${varies}, accept-encoding`);
    const encoding = encodingWanted(request.headers['accept-encoding']);
    if (encoding === null) return payload;
    reply.removeHeader('content-length').header('content-encoding', encoding);
    return await compressed(Buffer.from(payload), encoding);
  });
}

function isWorthIt(reply: FastifyReply, payload: unknown): payload is string | Buffer {
  const isWhole = typeof payload === 'string' || Buffer.isBuffer(payload);
  if (!isWhole || Buffer.byteLength(payload) < compressedBytesMin) return false;
  return (
    !reply.hasHeader('content-encoding') && textual.test(String(reply.getHeader('content-type')))
  );
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
