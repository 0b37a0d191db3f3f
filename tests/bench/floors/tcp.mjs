// The floor of a TCP probe: the bare library call, by so many turns of a second each, and nothing else. `polite` as a third
// word: it says goodbye (FIN) and waits for the peer's, as a probe must, in place of dropping the connection.
import { connect } from 'node:net';

const [port, turns] = process.argv.slice(2, 4).map(Number);
const isPolite = process.argv[4] === 'polite';

const call = () => {
  const socket = connect({ host: '127.0.0.1', port, noDelay: true });
  socket.on('error', () => {});
  if (!isPolite) {
    socket.once('connect', () => socket.destroy());
    return;
  }
  socket.on('data', () => {});
  socket.once('connect', () => socket.end());
  socket.once('end', () => socket.destroy());
};
// Each turn keeps its place in the second, as services do: what is late once must not run together with others for good.
const asked = (dueMs) => {
  call();
  const nextMs = dueMs + 1_000;
  setTimeout(asked, nextMs - performance.now(), nextMs);
};
for (let turn = 0; turn < turns; turn++) {
  const dueMs = performance.now() + Math.random() * 1_000;
  setTimeout(asked, dueMs - performance.now(), dueMs);
}
process.send('ready');
