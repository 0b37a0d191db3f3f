/** The output of a run as the body of a request: any type, any bytes; only its end is kept, however long it is. */
import type { IncomingMessage } from 'node:http';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { reportBytesMax, tailBytesMax } from '../base/limits.ts';
import { RequestProblem } from './problems.ts';

export interface Output {
  readonly sizeBytes: number;
  /** The end of it. */
  readonly bytes: Uint8Array;
}

export const noOutput: Output = { sizeBytes: 0, bytes: new Uint8Array() };

/** In this scope every body is an output, whatever it calls itself: `curl --data-binary` says that it is a form. */
export function takeOutputs(scope: FastifyInstance): void {
  scope.removeAllContentTypeParsers();
  scope.addContentTypeParser('*', (_request: FastifyRequest, payload: IncomingMessage) =>
    outputIn(payload),
  );
}

/** Rejects with a RequestProblem where it is too long. */
function outputIn(payload: IncomingMessage): Promise<Output> {
  return new Promise((resolve, reject) => {
    let sizeBytes = 0;
    let keptBytes = 0;
    const kept: Buffer[] = [];
    const end = (): void => {
      payload.off('data', take).off('end', done).off('error', reject).off('close', cut);
    };
    const take = (chunk: Buffer): void => {
      sizeBytes += chunk.length;
      if (sizeBytes > reportBytesMax) {
        end();
        // Not torn down: the answer still has to go out on it.
        payload.pause();
        reject(tooLong());
        return;
      }
      kept.push(chunk);
      keptBytes += chunk.length;
      for (let [first] = kept; first && keptBytes - first.length >= tailBytesMax; [first] = kept) {
        keptBytes -= first.length;
        kept.shift();
      }
    };
    const done = (): void => {
      end();
      const bytes = Buffer.concat(kept);
      resolve({ sizeBytes, bytes: bytes.subarray(Math.max(bytes.length - tailBytesMax, 0)) });
    };
    const cut = (): void => {
      end();
      reject(new RequestProblem(400, 'The request ended before its body did.'));
    };
    payload.on('data', take).on('end', done).on('error', reject).on('close', cut);
  });
}

function tooLong(): RequestProblem {
  const mib = reportBytesMax / 1_048_576;
  return new RequestProblem(413, `Send at most ${mib} MiB of output: its end is enough.`);
}
