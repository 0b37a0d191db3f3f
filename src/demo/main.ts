/** `npm run demo`: the whole thing alive, until Ctrl-C or SIGTERM. */
import { messageOf } from '../base/errors.ts';
import { run } from './run.ts';

const stopping = new AbortController();
for (const signal of ['SIGINT', 'SIGTERM'] as const) {
  process.on(signal, () => stopping.abort());
}

try {
  await run({
    print: (line) => void process.stdout.write(`${line}\n`),
    say: (line) => void process.stderr.write(`${line}\n`),
    signal: stopping.signal,
  });
} catch (thrown) {
  process.stderr.write(`demo: ${messageOf(thrown)}\n`);
  process.exitCode = 1;
}
