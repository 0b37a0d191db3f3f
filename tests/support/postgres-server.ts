/** A scripted server of PostgreSQL's protocol: it answers each write of the probe with the next entry of its script. */
import type { Socket } from 'node:net';

type Answer = Uint8Array | string | ((received: Buffer, socket: Socket) => Uint8Array | string);

/** `type` and body in one message. */
export function message(type: string, body: Uint8Array | string = ''): Buffer {
  const bytes = typeof body === 'string' ? Buffer.from(body) : body;
  const head = Buffer.alloc(5, type, 'latin1');
  head.writeUInt32BE(bytes.length + 4, 1);
  return Buffer.concat([head, bytes]);
}

/** Authentication with its code. */
export function authentication(code: number, rest = ''): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32BE(code);
  return message('R', Buffer.concat([bytes, Buffer.from(rest)]));
}

export function errorResponse(code: string, text: string): Buffer {
  return message('E', `SFATAL\0VFATAL\0C${code}\0M${text}\0\0`);
}

export function parameter(name: string, value: string): Buffer {
  return message('S', `${name}\0${value}\0`);
}

export const ready = message('Z', 'I');
export const one = Buffer.concat([
  message('D', Buffer.from('00010000000131', 'hex')),
  message('C', 'SELECT 1\0'),
  ready,
]);

/** For `peer`: after the last entry it stays silent. */
export function scripted(script: readonly Answer[]): (socket: Socket) => void {
  return (socket) => {
    let turn = 0;
    socket.on('data', (received: Buffer) => {
      const answer = script[turn++];
      if (answer === undefined || socket.destroyed) return;
      const bytes = typeof answer === 'function' ? answer(received, socket) : answer;
      if (bytes.length > 0) socket.write(bytes);
    });
  };
}
