/**
 * As much of a PostgreSQL server as the probe needs: no TLS, and a question for a password that nobody answers.
 * Source: PostgreSQL 15 documentation, chapter "Frontend/Backend Protocol", "Message Formats". Integers are big-endian.
 */
import { createServer, type Server, type Socket } from 'node:net';
import { encodeSslRequest } from '../probe/postgres-messages.ts';

type Mood = 'well' | 'starting up';

export interface PostgresServer {
  readonly server: Server;
  be(mood: Mood): void;
}

/** Longer start-up packets are not meant for it. */
const packetBytesMax = 1_024;

export function postgresServer(): PostgresServer {
  let mood: Mood = 'well';
  const server = createServer((socket) => {
    let held = Buffer.alloc(0);
    socket.on('data', (bytes) => {
      held = Buffer.concat([held, bytes]);
      for (let packet = firstPacket(held); packet; packet = firstPacket(held)) {
        held = held.subarray(packet.length);
        answer(socket, packet, mood);
      }
      if (held.length > packetBytesMax) socket.destroy();
    });
  });
  return {
    server,
    be: (next) => {
      mood = next;
    },
  };
}

function answer(socket: Socket, packet: Buffer, mood: Mood): void {
  if (packet.equals(encodeSslRequest())) socket.write('N');
  else if (mood === 'well') socket.write(encodeAuthenticationSasl(['SCRAM-SHA-256']));
  else socket.end(encodeError('57P03', 'the database system is starting up'));
}

/** SSLRequest and StartupMessage begin with their own length. */
function firstPacket(bytes: Buffer): Buffer | null {
  if (bytes.length < 8) return null;
  const lengthBytes = bytes.readUInt32BE(0);
  return lengthBytes >= 8 && lengthBytes <= bytes.length ? bytes.subarray(0, lengthBytes) : null;
}

/** AuthenticationSASL. */
function encodeAuthenticationSasl(mechanisms: readonly string[]): Buffer {
  const names = mechanisms.map((name) => `${name}\0`).join('');
  return message('R', Buffer.concat([Buffer.of(0, 0, 0, 10), Buffer.from(`${names}\0`)]));
}

/** ErrorResponse, with severity, SQLSTATE and message. */
function encodeError(code: string, text: string): Buffer {
  return message('E', Buffer.from(`SFATAL\0VFATAL\0C${code}\0M${text}\0\0`));
}

function message(type: string, body: Buffer): Buffer {
  const head = Buffer.alloc(5, type, 'latin1');
  head.writeUInt32BE(body.length + 4, 1);
  return Buffer.concat([head, body]);
}
