/** As much of a Microsoft SQL Server as the probe needs: the answer to PRELOGIN ([MS-TDS] §2.2.6.5), and no more. */
import { createServer, type Server } from 'node:net';
import { encodeOptions, encodePacket, preloginOptions } from '../probe/tds-messages.ts';

/** §2.2.3.1.1 */
const tabularResult = 0x04;
/** 16.0.1000, without a sub-build. */
const version = Buffer.of(16, 0, 0x03, 0xe8, 0, 0);
/** TLS for the sign-in alone. */
const encryption = Buffer.of(0);

export function tdsServer(): Server {
  const options = encodeOptions([
    [preloginOptions.version, version],
    [preloginOptions.encryption, encryption],
  ]);
  return createServer((socket) => {
    socket.once('data', () => socket.end(encodePacket(tabularResult, options)));
  });
}
