/** A web application of the studio: it answers, answers late, or says that it cannot. */
import { createServer, type Server } from 'node:http';
import { type Clock, pause } from '../base/clock.ts';

type Mood = 'well' | 'slow' | 'unavailable';

export interface WebServer {
  readonly server: Server;
  be(mood: Mood): void;
}

const lateMs = 650;

export function webServer(body: string, clock: Clock): WebServer {
  let mood: Mood = 'well';
  const server = createServer((_, response) => {
    const answer = () => {
      const status = mood === 'unavailable' ? 503 : 200;
      response.writeHead(status, { 'content-type': 'application/json' });
      response.end(status === 200 ? body : '{"state":"waiting for what it needs"}');
    };
    if (mood === 'slow') void pause(clock, lateMs).then(answer);
    else answer();
  });
  return {
    server,
    be: (next) => {
      mood = next;
    },
  };
}
