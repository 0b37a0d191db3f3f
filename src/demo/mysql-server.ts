/**
 * As much of a MySQL server as the probe needs: a greeting, and no entry for whoever introduces himself.
 * Sources: MySQL Server source documentation, "Protocol::HandshakeV10", "ERR_Packet". Integers are little-endian.
 */
import { randomBytes } from 'node:crypto';
import { createServer, type Server } from 'node:net';
import { encodePacket } from '../probe/mysql-messages.ts';

type Mood = 'well' | 'full';

export interface MysqlServer {
  readonly server: Server;
  be(mood: Mood): void;
}

export function mysqlServer(): MysqlServer {
  let mood: Mood = 'well';
  const server = createServer((socket) => {
    if (mood === 'full') {
      socket.end(encodePacket(0, encodeError(1040, 'Too many connections')));
      return;
    }
    socket.write(encodePacket(0, encodeGreeting('8.0.36')));
    const refusal = encodeError(1045, "#28000Access denied for user 'somebody'@'localhost'");
    socket.once('data', () => socket.end(encodePacket(2, refusal)));
  });
  return {
    server,
    be: (next) => {
      mood = next;
    },
  };
}

/** CLIENT_LONG_PASSWORD, CLIENT_PROTOCOL_41, CLIENT_SECURE_CONNECTION; CLIENT_PLUGIN_AUTH in the upper half. */
const capabilitiesLow = 1 | (1 << 9) | (1 << 15);
const capabilitiesHigh = 1 << 3;
/** utf8mb4_general_ci, and SERVER_STATUS_AUTOCOMMIT. */
const collation = 45;
const status = 2;

/** HandshakeV10. */
function encodeGreeting(version: string): Buffer {
  // A scramble holds no NUL: that ends it.
  const scramble = randomBytes(20).map((byte) => (byte % 255) + 1);
  return Buffer.concat([
    Buffer.of(10),
    Buffer.from(`${version}\0`),
    randomBytes(4),
    scramble.subarray(0, 8),
    Buffer.of(0),
    int16(capabilitiesLow),
    Buffer.of(collation),
    int16(status),
    int16(capabilitiesHigh),
    Buffer.of(scramble.length + 1),
    Buffer.alloc(10),
    scramble.subarray(8),
    Buffer.of(0),
    Buffer.from('caching_sha2_password\0'),
  ]);
}

/** ERR_Packet; after the greeting `text` begins with `#` and the SQLSTATE. */
function encodeError(code: number, text: string): Buffer {
  return Buffer.concat([Buffer.of(0xff), int16(code), Buffer.from(text)]);
}

function int16(value: number): Buffer {
  const bytes = Buffer.alloc(2);
  bytes.writeUInt16LE(value);
  return bytes;
}
