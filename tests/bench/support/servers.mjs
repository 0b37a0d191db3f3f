// The servers that are asked, in a process of their own: so many doors, each with its own count of who came.
// Answers `ports` and `counts`.
import { createServer as createHttpServer } from 'node:http';
import { createServer } from 'node:net';

const [kind, doors] = [process.argv[2], Number(process.argv[3])];
const page = `<!doctype html><title>Fernhill Pottery</title>${'<p>Bowls, jugs, plates.</p>'.repeat(20)}`;
const counts = Array.from({ length: doors }, () => 0);

const servers = counts.map((_, door) =>
  kind === 'http'
    ? createHttpServer((_request, response) => {
        counts[door]++;
        response.setHeader('content-type', 'text/html').end(page);
      })
    : createServer((socket) => {
        counts[door]++;
        socket.on('error', () => {}).resume();
      }),
);
await Promise.all(
  servers.map((server) => new Promise((resolve) => server.listen(0, '127.0.0.1', 1_024, resolve))),
);
const answers = {
  ports: () => servers.map((server) => server.address().port),
  counts: () => counts,
};
process.on('message', (message) => process.send(answers[message]()));
process.send('ready');
