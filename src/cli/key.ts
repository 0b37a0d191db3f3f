/** `rollcall key`: makes the keys of a WireGuard peer for the probe, and says what to do with them. Writes no file. */
import { makePrivateKey, publicOf } from '../probe/x25519.ts';

export function key(): void {
  process.stdout.write(keyText(makePrivateKey()));
}

/** What is printed for this private key of 32 bytes. */
export function keyText(privateKey: Uint8Array): string {
  const publicKey = publicOf(privateKey).toString('base64');
  return `Private key, for \`privateKey\` in the configuration. Better in a file of its own, named there as file:PATH:

  ${Buffer.from(privateKey).toString('base64')}

Public key, for the endpoint:

  ${publicKey}

Add this peer to the endpoint's configuration, without AllowedIPs and without PersistentKeepalive: nothing is ever
routed to it, and the endpoint sends it nothing unasked.

  [Peer]
  # Rollcall
  PublicKey = ${publicKey}

Use these keys for one Rollcall and nothing else. With the keys of a device the endpoint would take each probe for that
device having moved: it would send the device's traffic to this machine until the device is heard again.
`;
}
