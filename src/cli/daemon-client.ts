/** Talks to the running daemon over its socket, for the commands. */
import { existsSync } from 'node:fs';
import { Client } from 'undici';
import { messageOf, RollcallError } from '../base/errors.ts';
import { socketPath } from './place.ts';

/** Probes may take their minute, and wait their least gap before it. */
const answerMsMax = 180_000;

/** The daemon's answer, parsed; null when none runs on this data folder. Its refusal is a `usage` error. */
export async function askDaemon(
  folder: string,
  method: 'GET' | 'POST',
  path: string,
  body?: unknown,
): Promise<{ status: number; body: unknown } | null> {
  const socket = socketPath(folder);
  if (!existsSync(socket)) return null;
  const client = new Client('http://rollcall', { socketPath: socket, headersTimeout: answerMsMax });
  try {
    const answer = await client.request({
      method,
      path,
      ...(body === undefined
        ? {}
        : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }),
    });
    const parsed: unknown = await answer.body.json();
    if (answer.statusCode === 400 || answer.statusCode === 404) throw refusal(parsed);
    return { status: answer.statusCode, body: parsed };
  } catch (thrown) {
    if (thrown instanceof RollcallError) throw thrown;
    // A socket that nobody listens on is left over from a daemon that was killed.
    if (/ECONNREFUSED|ENOENT/.test(messageOf(thrown))) return null;
    throw new RollcallError(
      'daemon-absent',
      `the daemon on ${folder} does not answer: ${messageOf(thrown)}`,
      {
        cause: thrown,
      },
    );
  } finally {
    await client.destroy();
  }
}

function refusal(problem: unknown): RollcallError {
  const detail =
    typeof problem === 'object' && problem !== null && 'detail' in problem
      ? String(problem.detail)
      : 'refused';
  return new RollcallError('usage', detail);
}
