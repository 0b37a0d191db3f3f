/**
 * A stand-in for a Microsoft SQL Server up to the refused sign-in, made of the probe's own encoders. That it is one is
 * checked by two clients that are not ours (tests/peers/tds.test.ts).
 */
import type { Socket } from 'node:net';
import { encodeOptions, encodePacket, type Options } from '../../src/probe/tds-messages.ts';

const preloginType = 0x12;
const login7Type = 0x10;
export const resultType = 0x04;

/** SQL Server 2022 without TLS: what it would tell of itself. */
export const ordinaryOptions: Options = [
  [0x00, Uint8Array.of(16, 0, 0x03, 0xe8, 0, 0)],
  [0x01, Uint8Array.of(0x02)],
  [0x02, Uint8Array.of(0x00)],
  [0x03, new Uint8Array()],
  [0x04, Uint8Array.of(0x00)],
];

export function preloginAnswer(options: Options = ordinaryOptions): Buffer {
  return encodePacket(resultType, encodeOptions(options));
}

/** ERROR ([MS-TDS] §2.2.7.10) with the severity of a refused sign-in, and DONE (§2.2.7.6) with its error bit. */
export function errorAnswer(number: number, message: string): Buffer {
  const text = Buffer.from(message, 'utf16le');
  const server = Buffer.from('kiln', 'utf16le');
  const body = Buffer.alloc(8 + text.length + 1 + server.length + 1 + 4);
  let at = body.writeInt32LE(number, 0);
  at = body.writeUInt8(1, at);
  at = body.writeUInt8(14, at);
  at = body.writeUInt16LE(message.length, at);
  at += text.copy(body, at);
  at = body.writeUInt8(server.length / 2, at);
  at += server.copy(body, at);
  at = body.writeUInt8(0, at);
  body.writeUInt32LE(1, at);
  const token = Buffer.alloc(3, 0xaa);
  token.writeUInt16LE(body.length, 1);
  const done = Buffer.from('fd 0200 0000 0000000000000000'.replaceAll(' ', ''), 'hex');
  return encodePacket(resultType, Buffer.concat([token, body, done]));
}

/** For `peer`, or within TLS: answers PRELOGIN, refuses every sign-in, closes at anything else. */
export function tdsServer(
  options: Options = ordinaryOptions,
  heard: (type: number, packet: Buffer) => void = () => {},
): (socket: Socket) => void {
  return (socket) => {
    let unread = Buffer.alloc(0);
    const answer = (type: number) => {
      if (type === preloginType) socket.write(preloginAnswer(options));
      else socket.write(errorAnswer(18_456, "Login failed for user 'rollcall'."));
    };
    socket.on('data', (chunk: Buffer) => {
      unread = Buffer.concat([unread, chunk]);
      while (unread.length >= 8) {
        const [type, lengthBytes] = [unread.readUInt8(0), unread.readUInt16BE(2)];
        if (type !== preloginType && type !== login7Type) return void socket.end();
        if (unread.length < lengthBytes) return;
        heard(type, unread.subarray(0, lengthBytes));
        unread = unread.subarray(lengthBytes);
        answer(type);
      }
    });
  };
}
