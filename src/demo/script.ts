/** What happens at the studio while one watches, again and again: every state of the board is seen in each turn. */
import type { Clock } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import type { Cast } from './cast.ts';

interface Scene {
  /** Seconds since the turn began. */
  readonly atS: number;
  readonly says: string;
  readonly act: (cast: Cast, report: Report) => void | Promise<void>;
}

/** A job reports in: `stock-import/began`, and what it wrote. */
export type Report = (path: string, output: string) => Promise<void>;

const scenes: readonly Scene[] = [
  {
    atS: 4,
    says: 'the photo archive gets slow',
    act: ({ photoArchive }) => photoArchive.be('slow'),
  },
  {
    atS: 9,
    says: "the order book's server stops; the shop cannot sell without it",
    act: ({ orderBook, shop }) => {
      shop.be('unavailable');
      return orderBook.leave();
    },
  },
  {
    atS: 13,
    says: 'the gateway goes dark: what lies behind it is out of sight',
    act: async ({ gateway, glazeSupplier }) => {
      await Promise.all([gateway.leave(), glazeSupplier.leave()]);
    },
  },
  {
    atS: 20,
    says: 'the stock import begins',
    act: (_cast, report) => report('stock-import/began', ''),
  },
  {
    atS: 26,
    says: 'the stock import fails at a line that it cannot read',
    act: (_cast, report) =>
      report(
        'stock-import/ended?exit=1',
        'reading weights.csv\nline 412: no such glaze: "Celadon 3"\n',
      ),
  },
  {
    atS: 32,
    says: "the order book's server starts up",
    act: ({ orderBook }) => {
      orderBook.be('starting up');
      return orderBook.comeBack();
    },
  },
  {
    atS: 37,
    says: 'the order book is ready, and the shop sells',
    act: ({ orderBook, shop }) => {
      orderBook.be('well');
      shop.be('well');
    },
  },
  {
    atS: 42,
    says: 'the gateway is back',
    act: async ({ gateway, glazeSupplier }) => {
      await Promise.all([gateway.comeBack(), glazeSupplier.comeBack()]);
    },
  },
  {
    atS: 46,
    says: 'the photo archive is quick again',
    act: ({ photoArchive }) => photoArchive.be('well'),
  },
  {
    atS: 52,
    says: 'the kiln logger misses one answer: nothing is told of it',
    act: ({ kilnLogger }) => kilnLogger.be('mute once'),
  },
  {
    atS: 57,
    says: 'somebody mends the line and runs the stock import again',
    act: (_cast, report) =>
      report('stock-import/ended?exit=0&value=1204&unit=articles', 'read 1204 articles\n'),
  },
  {
    atS: 60,
    says: 'remote access falls silent, and the stock list is full',
    act: ({ remoteAccess, stockList }) => {
      remoteAccess.be('silent');
      stockList.be('full');
    },
  },
  {
    atS: 70,
    says: 'the stock list has room again',
    act: ({ stockList }) => stockList.be('well'),
  },
  {
    atS: 76,
    says: 'the file share goes, and with it the photo archive',
    act: ({ nas, photoArchive }) => {
      photoArchive.be('unavailable');
      return nas.leave();
    },
  },
  {
    atS: 82,
    says: 'remote access answers again',
    act: ({ remoteAccess }) => remoteAccess.be('well'),
  },
  {
    atS: 92,
    says: 'the file share is back',
    act: ({ nas, photoArchive }) => {
      photoArchive.be('well');
      return nas.comeBack();
    },
  },
  {
    atS: 98,
    says: 'the kiln logger has lost its program',
    act: ({ kilnLogger }) => kilnLogger.be('lost'),
  },
  {
    atS: 110,
    says: 'the kiln logger measures again',
    act: ({ kilnLogger }) => kilnLogger.be('well'),
  },
];

const turnS = 125;

interface PlayGiven {
  readonly cast: Cast;
  readonly report: Report;
  readonly clock: Clock;
  readonly say: (text: string) => void;
  /** Ends the play; a scene under way is played to its end. */
  readonly signal: AbortSignal;
}

/** Turn after turn. */
export async function play(given: PlayGiven): Promise<void> {
  const { clock, signal } = given;
  while (!signal.aborted) {
    const beganMs = clock.monotonicMs();
    for (const scene of scenes) {
      await until(beganMs + scene.atS * 1_000, given);
      if (signal.aborted) return;
      await perform(scene, given);
    }
    await until(beganMs + turnS * 1_000, given);
  }
}

/** A server whose port was taken meanwhile stays away until its next turn. */
async function perform({ says, act }: Scene, { cast, report, say }: PlayGiven): Promise<void> {
  say(`· ${says}`);
  try {
    await act(cast, report);
  } catch (thrown) {
    say(`· this did not work: ${messageOf(thrown)}`);
  }
}

/** At once when the play is over. */
function until(atMs: number, { clock, signal }: PlayGiven): Promise<void> {
  return new Promise((resolve) => {
    if (signal.aborted) return resolve();
    const alarm = clock.after(Math.max(atMs - clock.monotonicMs(), 0), () => {
      signal.removeEventListener('abort', end);
      resolve();
    });
    const end = () => {
      alarm.cancel();
      resolve();
    };
    signal.addEventListener('abort', end, { once: true });
  });
}
