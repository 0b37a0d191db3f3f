/** The kiln logger: a small box that says its name and what it measures to whoever connects. */
import { createServer, type Server } from 'node:net';

type Mood = 'well' | 'mute once' | 'lost';

export interface KilnLogger {
  readonly server: Server;
  be(mood: Mood): void;
}

/** What its banner must hold. */
export const kilnWord = 'KILN-LOGGER';

const banners = {
  well: `${kilnWord} 3.1 zone 1 1222 C\r\n`,
  lost: 'BOOTLOADER 0.9 no image found\r\n',
};

export function kilnLogger(): KilnLogger {
  let mood: Mood = 'well';
  const server = createServer((socket) => {
    if (mood === 'mute once') {
      mood = 'well';
      socket.destroy();
      return;
    }
    socket.end(banners[mood]);
  });
  return {
    server,
    be: (next) => {
      mood = next;
    },
  };
}
