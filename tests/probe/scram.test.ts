/** SCRAM-SHA-256 against the example of RFC 7677 §3, and against servers that cheat. */
import { expect, test } from 'vitest';
import { scramIterationsMax } from '../../src/base/limits.ts';
import { clientFirst, prove, readServerFirst, serverProves } from '../../src/probe/scram.ts';

// RFC 7677 §3
const nonce = 'rOprNGfwEbeRWgbNEkqO';
const serverFirst =
  'r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0,s=W22ZaJ0SNY7soEsUEjb6gQ==,i=4096';
const clientFinal =
  'c=biws,r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0,p=dHzbZapWIk4jUhN+Ute9ytag9zjfMHgsqmmiz7AndVQ=';
const serverFinal = 'v=6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4=';

function challenge(message = serverFirst) {
  const read = readServerFirst(message, nonce);
  if (typeof read === 'string') throw new Error(read);
  return read;
}

test('the messages are those of RFC 7677 §3', async () => {
  expect(clientFirst('user', nonce)).toBe('n,,n=user,r=rOprNGfwEbeRWgbNEkqO');
  const account = { user: 'user', password: 'pencil', nonce };
  const proof = await prove(account, serverFirst, challenge());
  expect(proof.clientFinal).toBe(clientFinal);
  expect(serverProves(serverFinal, proof.serverSignature)).toBe(true);
});

test('comma and equals sign in a name are written as RFC 5802 §5.1 says', () => {
  expect(clientFirst('a,b=c', 'n')).toBe('n,,n=a=2Cb=3Dc,r=n');
});

test('a password is the same however its letters were composed', async () => {
  const composed = { user: 'user', password: 'caf\u00e9', nonce };
  const apart = { ...composed, password: 'cafe\u0301' };
  expect(await prove(composed, serverFirst, challenge())).toEqual(
    await prove(apart, serverFirst, challenge()),
  );
});

test.each([
  ['a nonce that is not ours', 'r=somebodyelse,s=AAAA,i=4096'],
  ['our nonce with nothing added', `r=${nonce},s=AAAA,i=4096`],
  ['a nonce that only ends with ours', `r=x${nonce},s=AAAA,i=4096`],
  ['no salt', `r=${nonce}x,i=4096`],
  ['an empty salt', `r=${nonce}x,s=,i=4096`],
  ['no iterations', `r=${nonce}x,s=AAAA`],
  ['zero iterations', `r=${nonce}x,s=AAAA,i=0`],
  ['negative iterations', `r=${nonce}x,s=AAAA,i=-1`],
  ['more iterations than anybody needs', `r=${nonce}x,s=AAAA,i=${scramIterationsMax + 1}`],
  ['absurdly many iterations', `r=${nonce}x,s=AAAA,i=99999999999999`],
  ['iterations that are no number', `r=${nonce}x,s=AAAA,i=4096e3`],
  ['an extension that must be understood', `m=ext,r=${nonce}x,s=AAAA,i=4096`],
  ['an error', 'e=unknown-user'],
  ['nothing', ''],
  ['a salt without end', `r=${nonce}x,s=${'A'.repeat(5_000)},i=4096`],
])('a first message with %s is refused', (_name, message) => {
  expect(typeof readServerFirst(message, nonce)).toBe('string');
});

test('the most that may be asked for is accepted', () => {
  expect(challenge(`r=${nonce}x,s=AAAA,i=${scramIterationsMax}`).iterations).toBe(
    scramIterationsMax,
  );
});

test.each([
  ['another signature', `v=${Buffer.alloc(32).toString('base64')}`],
  ['a shorter one', 'v=AAAA'],
  ['a longer one', `v=${Buffer.alloc(33).toString('base64')}`],
  ['an error', 'e=invalid-proof'],
  ['nothing', ''],
])('a final message with %s proves nothing', (_name, message) => {
  const signature = Buffer.from(serverFinal.slice(2), 'base64');
  expect(serverProves(message, signature)).toBe(false);
});
