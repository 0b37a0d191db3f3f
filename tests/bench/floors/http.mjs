// The floor of an HTTP probe: one bare request over a fresh connection, by so many turns of a second each, and nothing else.
import { Client } from 'undici';

const [port, turns] = process.argv.slice(2).map(Number);

const call = async () => {
  const client = new Client(`http://127.0.0.1:${port}`);
  const { body } = await client.request({ path: '/', method: 'GET', reset: true });
  await body.text();
  await client.destroy();
};
// Each turn keeps its place in the second, as services do: what is late once must not run together with others for good.
const asked = (dueMs) => {
  void call();
  const nextMs = dueMs + 1_000;
  setTimeout(asked, nextMs - performance.now(), nextMs);
};
for (let turn = 0; turn < turns; turn++) {
  const dueMs = performance.now() + Math.random() * 1_000;
  setTimeout(asked, dueMs - performance.now(), dueMs);
}
process.send('ready');
