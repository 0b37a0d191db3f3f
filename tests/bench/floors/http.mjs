// The floor of an HTTP probe: one bare request over a fresh connection, by so many turns of a second each, and nothing else.
import { Client } from 'undici';

const [port, turns] = process.argv.slice(2).map(Number);

const call = async () => {
  const client = new Client(`http://127.0.0.1:${port}`);
  const { body } = await client.request({ path: '/', method: 'GET', reset: true });
  await body.text();
  await client.destroy();
};
for (let turn = 0; turn < turns; turn++) {
  setTimeout(() => setInterval(call, 1_000), Math.random() * 1_000);
}
process.send('ready');
