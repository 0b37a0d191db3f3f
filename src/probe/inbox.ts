/** What has arrived on a connection and nobody has taken yet; and how the peer ended it. Bounded, whatever is sent. */
import type { Socket } from 'node:net';

/** FIN; more bytes than anybody reads; or an error. */
type Ended = 'closed' | 'flooded' | Error;

export interface Inbox {
  /**
   * Hears this socket from now on. Returns what makes it deaf to it again; what the socket goes on to know is next to nothing.
   */
  hear(socket: Socket): () => void;
  /** What nobody has taken; a view, valid until the next change. */
  unread(): Buffer;
  take(bytesCount: number): void;
  /** Bytes that were taken so far. */
  takenBytes(): number;
  /** Null while more may come. */
  ended(): Ended | null;
  /** Resolves at the next arrival, end, or `wake`. One waits at a time. */
  changed(): Promise<void>;
  wake(): void;
}

/** Made with the first bytes: many peers are asked to accept, and say nothing. */
const storeBytesMin = 1_024;
const empty = Buffer.alloc(0);

/** `bytesMax` bounds all that is received, taken or not; a peer that sends more is cut off. */
export function openInbox(bytesMax: number): Inbox {
  let store = empty;
  let startByte = 0;
  let endByte = 0;
  let ended: Ended | null = null;
  let call = () => {};

  const wake = () => {
    const waiting = call;
    call = () => {};
    waiting();
  };
  const end = (how: Ended) => {
    ended ??= how;
    wake();
  };
  /** Bytes are never moved to the front: `bytesMax` bounds the store, and it grows by doubling, so a drip costs little. */
  const keep = (chunk: Buffer) => {
    const kept = chunk.subarray(0, bytesMax - endByte);
    if (endByte + kept.length > store.length) {
      const larger = Buffer.alloc(Math.max(endByte + kept.length, store.length * 2, storeBytesMin));
      store.copy(larger, 0, 0, endByte);
      store = larger;
    }
    kept.copy(store, endByte);
    endByte += kept.length;
    return kept.length === chunk.length;
  };

  return {
    hear: (socket) => {
      const ear = earOn(socket, {
        arrived: (chunk) => {
          if (keep(chunk)) return wake();
          socket.destroy();
          end('flooded');
        },
        ended: end,
      });
      return () => {
        ear.hears = null;
      };
    },
    unread: () => store.subarray(startByte, endByte),
    take: (bytesCount) => {
      startByte = Math.min(endByte, startByte + bytesCount);
    },
    takenBytes: () => startByte,
    ended: () => ended,
    changed: () =>
      new Promise((resolve) => {
        call = resolve;
      }),
    wake,
  };
}

interface Ear {
  /** Null: deaf. */
  hears: { arrived(chunk: Buffer): void; ended(how: Ended): void } | null;
}

/** Its listeners are never taken off, which would take longer than to put them on; they know nobody any more. */
function earOn(socket: Socket, hears: NonNullable<Ear['hears']>): Ear {
  const ear: Ear = { hears };
  const closed = () => ear.hears?.ended('closed');
  socket
    .on('data', (chunk: Buffer) => ear.hears?.arrived(chunk))
    .on('end', closed)
    .on('close', closed)
    .on('error', (error) => ear.hears?.ended(error));
  return ear;
}
