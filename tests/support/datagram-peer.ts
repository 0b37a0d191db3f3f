/** A UDP peer on loopback that behaves as a test wants. */
import { createSocket, type RemoteInfo } from 'node:dgram';
import { readdirSync, readlinkSync } from 'node:fs';

export interface DatagramPeer extends AsyncDisposable {
  readonly port: number;
  /** All that was sent to it, in order. */
  readonly received: readonly { readonly bytes: Buffer; readonly from: RemoteInfo }[];
}

type Behave = (bytes: Buffer, answer: (bytes: Uint8Array) => void, from: RemoteInfo) => void;

/** `address` of loopback. `behave` runs for each datagram; `answer` goes back to where that came from. */
export async function datagramPeer(behave: Behave, address = '127.0.0.1'): Promise<DatagramPeer> {
  const socket = createSocket(address.includes(':') ? 'udp6' : 'udp4');
  const received: { bytes: Buffer; from: RemoteInfo }[] = [];
  let closed = false;
  socket.on('message', (bytes, from) => {
    received.push({ bytes, from });
    const answer = (answering: Uint8Array) => {
      if (!closed) socket.send(answering, from.port, from.address);
    };
    behave(bytes, answer, from);
  });
  await new Promise<void>((resolve) => socket.bind(0, address, resolve));
  return {
    port: socket.address().port,
    received,
    [Symbol.asyncDispose]: () =>
      new Promise((resolve) => {
        closed = true;
        socket.close(() => resolve());
      }),
  };
}

/** A UDP port of loopback on which nothing listens. */
export async function closedDatagramPort(): Promise<number> {
  const one = await datagramPeer(() => {});
  await one[Symbol.asyncDispose]();
  return one.port;
}

/** How many sockets this process holds open, by what Linux lists (proc(5)). */
export function openSocketsCount(): number {
  return readdirSync('/proc/self/fd').filter((fd) => {
    try {
      return readlinkSync(`/proc/self/fd/${fd}`).startsWith('socket:');
    } catch {
      // The descriptor of the list itself.
      return false;
    }
  }).length;
}
