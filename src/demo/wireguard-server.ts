/** The way into the studio from outside: a WireGuard endpoint that knows every peer, and may fall silent. */
import { createSocket } from 'node:dgram';
import { makePrivateKey, publicOf } from '../probe/x25519.ts';
import { type Place, somewhere } from './stage.ts';
import { readInitiation, respond } from './wireguard-responder.ts';

type Mood = 'well' | 'silent';

export interface WireguardServer extends Place {
  readonly address: string;
  /** Base64, as in a configuration. */
  readonly publicKey: string;
  be(mood: Mood): void;
  close(): Promise<void>;
}

export async function wireguardServer(wanted: Place): Promise<WireguardServer> {
  const ownPrivate = makePrivateKey();
  let mood: Mood = 'well';
  let end = () => {};
  const standing = await somewhere(async (port, address) => {
    const socket = createSocket('udp4');
    socket.on('message', (bytes, from) => {
      const initiation = mood === 'well' ? readInitiation(bytes, ownPrivate) : null;
      if (initiation) socket.send(respond(initiation), from.port, from.address);
    });
    await new Promise<void>((resolve, reject) => {
      socket.once('error', reject);
      socket.bind(port, address, resolve);
    });
    // An answer that cannot be sent is an endpoint that stays silent.
    socket.on('error', () => {});
    end = () => socket.close();
    return socket.address().port;
  }, wanted);
  return {
    ...standing,
    publicKey: publicOf(ownPrivate).toString('base64'),
    be: (next) => {
      mood = next;
    },
    close: async () => end(),
  };
}
