/**
 * Compression of what is text and not short. Quick rather than dense: it runs on the small machine that it watches.
 * The stream is left out, as what waits in a compressor is not live; a page's form tokens are masked (form-tokens.ts).
 */
import { constants } from 'node:zlib';
import compress from '@fastify/compress';
import type { FastifyInstance } from 'fastify';
import { compressedBytesMin } from '../base/limits.ts';

const textual = /^text\/(?!event-stream)|[+/](?:json|xml)(?:;|$)|^application\/openmetrics-text/;

export async function compressAnswers(app: FastifyInstance): Promise<void> {
  await app.register(compress, {
    threshold: compressedBytesMin,
    customTypes: textual,
    encodings: ['br', 'gzip', 'identity'],
    brotliOptions: { params: { [constants.BROTLI_PARAM_QUALITY]: 4 } },
    zlibOptions: { level: 5 },
    // Requests come as they are: nobody may send a small body that becomes a large one.
    globalDecompression: false,
  });
}
