/** A scripted server of MySQL's protocol: it greets, and answers each write of the probe with the next entry of its script. */
import type { Socket } from 'node:net';
import { encodePacket } from '../../src/probe/mysql-messages.ts';
import { fixture } from './fixtures.ts';

type Entry = Uint8Array | ((received: Buffer, socket: Socket) => Uint8Array);

export const greeting = Buffer.concat(fixture('mysql', 'greeting'));
export const select = Buffer.concat(fixture('mysql', 'select'));

/** The captured greeting with this plugin in the place of its own. */
export function greetingWith(plugin: string): Buffer {
  const own = 'mysql_native_password\0';
  const payload = greeting.subarray(4, greeting.length - own.length);
  return encodePacket(0, Buffer.concat([payload, Buffer.from(`${plugin}\0`)]));
}

/** As the answer to a sign-in it has the sequence 2, over TLS 3. */
export function errorPacket(sequence: number, code: number, text: string): Buffer {
  const head = Buffer.from([0xff, code & 0xff, code >> 8]);
  return encodePacket(sequence, Buffer.concat([head, Buffer.from(`#HY000${text}`)]));
}

export function okPacket(sequence: number): Buffer {
  return encodePacket(sequence, Buffer.from('00000002000000', 'hex'));
}

export function switchTo(sequence: number, plugin: string, data: Uint8Array | string): Buffer {
  const bytes = typeof data === 'string' ? Buffer.from(data) : data;
  return encodePacket(sequence, Buffer.concat([Buffer.from(`\xfe${plugin}\0`, 'latin1'), bytes]));
}

export function denied(sequence = 2, as = "'rollcall-nobody'@'192.0.2.7'"): Buffer {
  return errorPacket(sequence, 1_045, `Access denied for user ${as} (using password: NO)`);
}

/** For `peer`: greets at once; after the last entry it stays silent. */
export function scripted(script: readonly Entry[], hello: Uint8Array = greeting) {
  return (socket: Socket): void => {
    let turn = 0;
    if (hello.length > 0) socket.write(hello);
    socket.on('data', (received: Buffer) => {
      const entry = script[turn++];
      if (entry === undefined || socket.destroyed) return;
      const bytes = typeof entry === 'function' ? entry(received, socket) : entry;
      if (bytes.length > 0) socket.write(bytes);
    });
  };
}
