// The floor of a TCP probe: the bare library call, by so many turns of a second each, and nothing else.
import { connect } from 'node:net';

const [port, turns] = process.argv.slice(2).map(Number);

const call = () => {
  const socket = connect({ host: '127.0.0.1', port, noDelay: true });
  socket.on('error', () => {});
  socket.once('connect', () => socket.destroy());
};
for (let turn = 0; turn < turns; turn++) {
  setTimeout(() => setInterval(call, 1_000), Math.random() * 1_000);
}
process.send('ready');
