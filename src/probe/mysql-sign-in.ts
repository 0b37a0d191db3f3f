/**
 * How the probe presents itself to MySQL and MariaDB: with its account, or as somebody made up who is refused.
 * Whatever it finds, it goes on to the server's verdict: a server holds a sign-in that is broken off against the address
 * that it came from, and blocks it after some (`max_connect_errors`); one that it refuses it does not.
 */
import { createHash } from 'node:crypto';
import { mysqlSwitchesCountMax } from '../base/limits.ts';
import type { Trouble } from '../base/values.ts';
import { type Decoder, done, type Step, stuck } from './decoding.ts';
import {
  decodeAuthReply,
  encodeHandshakeResponse,
  encodePacket,
  type Greeting,
  type ServerError,
} from './mysql-messages.ts';
import { trouble } from './observe.ts';
import type { Wire } from './socket.ts';

const nativePlugin = 'mysql_native_password';
const sha2Plugin = 'caching_sha2_password';

/** Tells the owner in the server's log who it was; made up, so that no right and no limit of a real account is touched. */
const nobodysName = 'rollcall-nobody';

/** Packets of one exchange; each side's next one carries the next number. */
export interface Packets {
  send(payload: Uint8Array): void;
  /** `decoderFor` gets the sequence that is due. */
  hear<T>(decoderFor: (sequence: number) => Decoder<T>): Promise<Step<T>>;
}

/** `sequence` is that of the next packet. */
export function packetsOver(wire: Wire, sequence: number): Packets {
  let due = sequence;
  return {
    send: (payload) => wire.write(encodePacket(due++, payload)),
    hear: (decoderFor) => wire.read(decoderFor(due++)),
  };
}

/** Who signs in. */
export interface Identity {
  readonly user: string;
  readonly database?: string | undefined;
  /** How it would like to sign in, given what the server would like. */
  readonly plugin: (wished: string) => string;
  /** What shows by this plugin that it knows the password; empty where it does not want to. */
  readonly prove: (plugin: string, scramble: Buffer) => Buffer;
  /** What the plugin wants besides. */
  readonly proveMore: (plugin: string, data: Buffer) => Buffer | null;
}

/** Where a sign-in takes place. */
export interface Presenting {
  readonly packets: Packets;
  readonly greeting: Greeting;
  readonly tls: boolean;
}

/** Signs in; null: the server has let it in. */
export async function present(
  { packets, greeting, tls }: Presenting,
  identity: Identity,
): Promise<Step<ServerError | null>> {
  const { user, database } = identity;
  let plugin = identity.plugin(greeting.plugin);
  const proof = identity.prove(plugin, greeting.scramble);
  packets.send(encodeHandshakeResponse({ user, plugin, proof, database, tls }));
  for (let asked = 0; asked <= mysqlSwitchesCountMax; asked++) {
    const reply = await packets.hear(decodeAuthReply);
    if (!reply.ok) return reply;
    switch (reply.value.kind) {
      case 'ok':
        return done(null);
      case 'error':
        return done(reply.value);
      case 'switch':
        plugin = reply.value.plugin;
        packets.send(identity.prove(plugin, reply.value.data.subarray(0, 20)));
        break;
      case 'more': {
        const more = identity.proveMore(plugin, reply.value.data);
        if (more) packets.send(more);
      }
    }
  }
  return stuck(trouble('malformed', 'its sign-in does not come to an end'));
}

/**
 * For a server that has not greeted in time: should it come to itself, it finds a whole sign-in there to refuse.
 * Nobody's response needs nothing of the greeting.
 */
export function leaveWord(wire: Wire): void {
  const response = { user: nobodysName, plugin: nativePlugin, proof: Buffer.alloc(0), tls: false };
  packetsOver(wire, 1).send(encodeHandshakeResponse(response));
}

/** Without a password: nothing that it answers tells anything. */
export const nobody: Identity = {
  user: nobodysName,
  plugin: (wished) => wished || nativePlugin,
  prove: () => Buffer.alloc(0),
  proveMore: () => Buffer.alloc(1),
};

interface Account {
  readonly user: string;
  readonly password: string;
  readonly database?: string | undefined;
  /** The other end has shown a certificate that was judged and found good. */
  readonly certain: boolean;
}

/** `doubt` tells, once the server has refused, what the probe itself did not want to do. */
export function identityOf(account: Account): Identity & { doubt(): Trouble | null } {
  const { user, password, database, certain } = account;
  let doubt: Trouble | null = null;
  return {
    user,
    database,
    doubt: () => doubt,
    plugin: (wished) => (wished === sha2Plugin ? sha2Plugin : nativePlugin),
    prove: (plugin, scramble) => {
      if (password === '') return Buffer.alloc(0);
      if (plugin === nativePlugin) return nativeProof(password, scramble);
      if (plugin === sha2Plugin) return sha2Proof(password, scramble);
      doubt = unspoken(plugin);
      return wrongProof;
    },
    proveMore: (plugin, data) => {
      // "Caching SHA-2 information": 3 the proof was enough, 4 the password itself is wanted.
      if (plugin === sha2Plugin && data.equals(Buffer.of(3))) return null;
      if (plugin === sha2Plugin && data.equals(Buffer.of(4)) && certain) {
        return Buffer.from(`${password}\0`);
      }
      doubt ??= inTheClear;
      return Buffer.alloc(1);
    },
  };
}

/** As long as an Ed25519 signature, and an empty text: what some plugins of MariaDB take for a wrong proof, not for a broken one. */
const wrongProof = Buffer.alloc(64);

const inTheClear = trouble(
  'sign-in-refused',
  'it wants the password itself, and it is not certain who asks',
  "Set `certificate` with the server's own authority or pin; or let the account of the probe sign in by mysql_native_password.",
);

function unspoken(plugin: string): Trouble {
  return trouble(
    'sign-in-refused',
    `it asks for a sign-in by ${plugin}, which the probe does not speak`,
    'Let the account of the probe sign in by mysql_native_password or caching_sha2_password.',
  );
}

/** SHA1(password) XOR SHA1(scramble, SHA1(SHA1(password))) ("Native Authentication"). */
export function nativeProof(password: string, scramble: Buffer): Buffer {
  const once = digest('sha1', Buffer.from(password));
  return xor(once, digest('sha1', scramble, digest('sha1', once)));
}

/** SHA256(password) XOR SHA256(SHA256(SHA256(password)), scramble) ("Caching_sha2_password information"). */
export function sha2Proof(password: string, scramble: Buffer): Buffer {
  const once = digest('sha256', Buffer.from(password));
  return xor(once, digest('sha256', digest('sha256', once), scramble));
}

function digest(algorithm: string, ...parts: readonly Buffer[]): Buffer {
  const hash = createHash(algorithm);
  for (const part of parts) hash.update(part);
  return hash.digest();
}

function xor(one: Buffer, other: Buffer): Buffer {
  return Buffer.from(one.map((byte, index) => byte ^ (other[index] ?? 0)));
}
