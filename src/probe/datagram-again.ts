/** One question over UDP, where either way may lose it: sent again as a client would, and doubted when its answer is odd. */
import type { DatagramWire } from './datagram.ts';
import type { Step } from './decoding.ts';

/** Both of OpenVPN (`tls-timeout`) and IKE (RFC 7296 §2.1) send again after some seconds, the pause growing. */
const pausesMs = [2_000, 4_000, 8_000, 16_000];
/** It is sent again only when the answer has this long to come. */
const answerMsMin = 500;
/** After an odd answer, how long a better one is waited for: anybody on the way may forge the first. */
const doubtMs = 500;

interface Question<T> {
  /** The same each time. */
  readonly bytes: Uint8Array;
  /** Null for what belongs to nothing that was asked. */
  readonly accept: (bytes: Buffer) => T | null;
  /** Beyond doubt. */
  readonly isGood: (answer: T) => boolean;
}

/** The first good answer; where there is none, the first one; else the trouble of the wire. */
export async function askAgain<T>(wire: DatagramWire, question: Question<T>): Promise<Step<T>> {
  const { accept, isGood } = question;
  const first = await firstAnswer(wire, question);
  if (!first.ok || isGood(first.value)) return first;
  const better = await wire.receive((bytes) => {
    const answer = accept(bytes);
    return answer !== null && isGood(answer) ? answer : null;
  }, doubtMs);
  return better.ok ? better : first;
}

async function firstAnswer<T>(
  wire: DatagramWire,
  { bytes, accept }: Question<T>,
): Promise<Step<T>> {
  for (const pauseMs of pausesMs) {
    wire.send(bytes);
    const answer = await wire.receive(accept, pauseMs);
    if (answer.ok || answer.trouble.reason !== 'silent') return answer;
    if (wire.remainingMs() < answerMsMin) return answer;
  }
  return wire.receive(accept);
}
