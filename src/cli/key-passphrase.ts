/**
 * `rollcall key passphrase`: the passphrase of the board as its hash, for who does not want it to lie anywhere. It is
 * typed unseen, or comes as one line on standard input; it is never an argument, which every process could read.
 */
import { createInterface } from 'node:readline/promises';
import { Writable } from 'node:stream';
import { RollcallError } from '../base/errors.ts';
import { passphraseCharsMax, passphraseCharsMin } from '../base/limits.ts';
import { hashPassphrase } from '../base/passphrase.ts';

export async function keyPassphrase(): Promise<void> {
  const passphrase = await (process.stdin.isTTY ? typed() : piped());
  const length = Array.from(passphrase).length;
  if (length < passphraseCharsMin || length > passphraseCharsMax) {
    throw new RollcallError(
      'usage',
      `a passphrase has ${passphraseCharsMin} to ${passphraseCharsMax} characters`,
    );
  }
  process.stdout.write(`${await hashPassphrase(passphrase)}\n`);
  process.stderr.write('Put this line into the configuration, as `passphrase` under `board`.\n');
}

/** Twice, as nobody sees what was typed. */
async function typed(): Promise<string> {
  const unseen = new Writable({ write: (_chunk, _encoding, done) => done() });
  const lines = createInterface({ input: process.stdin, output: unseen, terminal: true });
  const ask = async (question: string) => {
    process.stderr.write(question);
    const answer = await lines.question('');
    process.stderr.write('\n');
    return answer;
  };
  try {
    const first = await ask('Passphrase: ');
    if ((await ask('Once more: ')) !== first) {
      throw new RollcallError('usage', 'these were two different passphrases');
    }
    return first;
  } finally {
    lines.close();
  }
}

async function piped(): Promise<string> {
  const lines = createInterface({ input: process.stdin });
  for await (const line of lines) {
    lines.close();
    return line;
  }
  return '';
}
