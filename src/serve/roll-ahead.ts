/**
 * The roll, worked out ahead once after a start: a day of each service is read then, and all of this code runs for the first
 * time, which takes longer than whoever looks first should wait. One service at a time, so that no probe is late for it.
 */
import type { FastifyInstance } from 'fastify';
import type { Alarm } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import { rollAheadAfterMs, rollAheadPauseMs, rollAheadServicesCountMax } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Board } from './board.ts';

interface AheadGiven {
  readonly board: Pick<Board, 'cards' | 'clock' | 'log'>;
  /** Works out and keeps what the roll says of one service. */
  readonly lane: (card: ServiceCard) => Promise<unknown>;
  /** All of it, when that is done. */
  readonly roll: () => Promise<unknown>;
}

/** Begins when the board can be asked, and ends with it. */
export function workRollOutAhead(app: FastifyInstance, given: AheadGiven): void {
  let stop = () => {};
  app.addHook('onListen', async () => {
    stop = begun(given);
  });
  app.addHook('onClose', async () => stop());
}

/** Gives what ends it. */
export function begun({ board, lane, roll }: AheadGiven): () => void {
  const { cards, clock, log } = board;
  if (cards.length > rollAheadServicesCountMax) return () => {};
  const lanes = cards.map((card) => () => lane(card));
  const pieces = [...lanes, roll].values();
  let alarm: Alarm | null = null;
  const after = (ms: number) => {
    alarm = clock.after(ms, () => void next());
  };
  const next = async () => {
    const piece = pieces.next();
    if (piece.done) return;
    try {
      await piece.value();
    } catch (thrown) {
      // Who looks at the page will hear of it.
      log.debug({ error: messageOf(thrown) }, 'the roll could not be worked out ahead');
      return;
    }
    if (alarm !== null) after(rollAheadPauseMs);
  };
  after(rollAheadAfterMs);
  return () => {
    alarm?.cancel();
    alarm = null;
  };
}
