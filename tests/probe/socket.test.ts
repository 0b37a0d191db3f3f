/** The TCP side of every probe, against peers on loopback. */
import type { Socket } from 'node:net';
import { createSecureContext, TLSSocket } from 'node:tls';
import { afterAll, expect, test } from 'vitest';
import { finishMsMax, peerBytesMax } from '../../src/base/limits.ts';
import type { Observation } from '../../src/base/values.ts';
import { type Decoded, decoded, malformed, needMore } from '../../src/probe/decoding.ts';
import type { Course } from '../../src/probe/observe.ts';
import { converse, type Wire } from '../../src/probe/socket.ts';
import { selfSigned } from '../support/certificates.ts';
import { fullPort } from '../support/full-port.ts';
import { closedPort, context, drip, peer } from '../support/peer.ts';

const host = '127.0.0.1';

/** Everything up to a line feed; a `!` breaks it. */
function line(bytes: Buffer): Decoded<string> {
  if (bytes.includes(0x21)) return malformed('it holds a `!`');
  const end = bytes.indexOf(0x0a);
  return end < 0 ? needMore : decoded(bytes.toString('utf8', 0, end), end + 1);
}

async function oneLine(wire: Wire, course: Course): Promise<Observation> {
  const read = await wire.read(line);
  return read.ok ? course.answered({ line: read.value }) : course.troubled(read.trouble);
}

const unhandled: unknown[] = [];
process.on('uncaughtException', (error) => unhandled.push(error));
afterAll(() => expect(unhandled).toEqual([]));

test('what was not taken stays for the next read, and phases are timed', async () => {
  await using one = await peer((socket) => socket.write('first\nsecond\n'));
  const observation = await converse({ host, port: one.port }, context(), async (wire, course) => {
    const first = await wire.read(line);
    course.phase('answer');
    const second = await wire.read(line);
    return course.answered({ lines: `${first.ok && first.value} ${second.ok && second.value}` });
  });
  expect(observation).toMatchObject({ outcome: 'answered', facts: { lines: 'first second' } });
  expect(Object.keys(observation.phases)).toEqual(['connectUs', 'speakUs', 'answerUs']);
});

test('an answer in single bytes is the same answer', async () => {
  await using one = await peer((socket) =>
    drip(
      socket,
      [...'slow\n'].map((c) => Buffer.from(c)),
    ),
  );
  expect(await converse({ host, port: one.port }, context(), oneLine)).toMatchObject({
    facts: { line: 'slow' },
  });
});

test('the probe says goodbye with FIN and waits for the peer to do the same', async () => {
  await using one = await peer((socket) => socket.write('hello\nmore that nobody reads\n'));
  await converse({ host, port: one.port }, context(), oneLine);
  expect(await one.endings()).toEqual(['fin']);
});

test('last words of the peer are still heard: nothing of them comes back to it as a reset', async () => {
  let ended = (_how: string) => {};
  const ending = new Promise<string>((resolve) => {
    ended = resolve;
  });
  await using one = await peer((socket) => {
    socket.removeAllListeners('end');
    socket.write('hello\n');
    // The first word would be answered by a reset, and the second fail by it.
    socket.on('end', () => socket.write('good', () => setTimeout(() => socket.end('bye\n'), 50)));
    socket.on('close', (hadError) => ended(hadError ? 'reset' : 'fin'));
  });
  await converse({ host, port: one.port }, context(), oneLine);
  expect(await ending).toBe('fin');
});

test('a peer that never says goodbye is left after a short wait', async () => {
  await using one = await peer((socket) => {
    socket.removeAllListeners('end');
    socket.write('hello\n');
  });
  const begun = performance.now();
  const observation = await converse({ host, port: one.port }, context(), oneLine);
  expect(observation.outcome).toBe('answered');
  expect(performance.now() - begun).toBeLessThan(finishMsMax + 1_000);
});

test('a port on which nothing listens is refused', async () => {
  const port = await closedPort();
  expect(await converse({ host, port }, context(), oneLine)).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'port', reason: 'refused', detail: `nothing listens on 127.0.0.1:${port}` },
  });
});

test('a port that drops connections silently is timed out within the deadline', async () => {
  await using full = await fullPort();
  const begun = performance.now();
  const observation = await converse(
    { host, port: full.port },
    context({ timeoutMs: 300 }),
    oneLine,
  );
  expect(performance.now() - begun).toBeLessThan(1_500);
  expect(observation.trouble).toMatchObject({ layer: 'port', reason: 'timed-out' });
});

test('a peer that accepts and stays silent does not answer', async () => {
  await using one = await peer(() => {});
  const observation = await converse(
    { host, port: one.port },
    context({ timeoutMs: 200 }),
    oneLine,
  );
  expect(observation.trouble).toMatchObject({ layer: 'protocol', reason: 'no-reply' });
  expect(observation.tookUs).toBeLessThan(1_000_000);
});

test('the deadline is not restarted by bytes that drip in', async () => {
  await using one = await peer((socket) =>
    drip(
      socket,
      Array.from({ length: 500 }, () => Buffer.from('a')),
      20,
    ),
  );
  const observation = await converse(
    { host, port: one.port },
    context({ timeoutMs: 300 }),
    oneLine,
  );
  expect(observation.trouble).toMatchObject({
    reason: 'no-reply',
    detail: expect.stringContaining('did not finish its answer within 0.3 s'),
  });
  expect(observation.tookUs).toBeLessThan(1_000_000);
});

test.each([
  ['no byte', '', 'before it answered'],
  ['half an answer', 'hal', 'in the middle of its answer'],
])('a close after %s is an early close', async (_name, bytes, words) => {
  await using one = await peer((socket) => socket.end(bytes));
  expect((await converse({ host, port: one.port }, context(), oneLine)).trouble).toMatchObject({
    reason: 'closed-early',
    detail: expect.stringContaining(words),
  });
});

test.each(['', 'hal'])('a reset after "%s" is a cut connection', async (bytes) => {
  await using one = await peer((socket) => {
    if (bytes === '') socket.resetAndDestroy();
    else socket.write(bytes, () => setTimeout(() => socket.resetAndDestroy(), 20));
  });
  expect((await converse({ host, port: one.port }, context(), oneLine)).trouble).toMatchObject({
    layer: 'port',
    reason: 'reset',
  });
});

test('a peer that sends without end is cut off', async () => {
  await using one = await peer((socket) => {
    const flood = () => {
      while (!socket.destroyed && socket.write('a'.repeat(8_192)));
    };
    socket.on('drain', flood);
    flood();
  });
  const observation = await converse({ host, port: one.port }, context(), oneLine);
  expect(observation.trouble).toMatchObject({
    reason: 'malformed',
    detail: expect.stringContaining(String(peerBytesMax)),
  });
});

test.each([
  ['SSH-2.0-OpenSSH_9.2\r\n!', 'SSH'],
  ['220 mail.test ESMTP!', 'SMTP or FTP'],
  ['HTTP/1.1 400 Bad Request\r\n!', 'HTTP'],
  ['INFO {"server_id":"x"}!', 'NATS'],
])('what says "%s" is named', async (bytes, protocol) => {
  await using one = await peer((socket) => socket.write(bytes));
  expect(
    (await converse({ host, port: one.port, speaks: 'Lines' }, context(), oneLine)).trouble,
  ).toMatchObject({
    reason: 'other-protocol',
    detail: `127.0.0.1:${one.port} speaks ${protocol}, not Lines`,
  });
});

test('broken bytes that nothing is known of are malformed', async () => {
  await using one = await peer((socket) => socket.write('!?'));
  expect(
    (await converse({ host, port: one.port, speaks: 'Lines' }, context(), oneLine)).trouble,
  ).toMatchObject({ reason: 'malformed', detail: expect.stringContaining('it holds a `!`') });
});

test('stopping the daemon ends the exchange at once and proves nothing', async () => {
  const stop = new AbortController();
  await using one = await peer(() => stop.abort());
  const observation = await converse(
    { host, port: one.port },
    context({ signal: stop.signal }),
    oneLine,
  );
  expect(observation).toMatchObject({ outcome: 'unproven' });
  expect(observation.tookUs).toBeLessThan(2_000_000);
  expect(
    await converse({ host, port: one.port }, context({ signal: AbortSignal.abort() }), oneLine),
  ).toMatchObject({ outcome: 'unproven' });
});

test('a defect in the talk is passed on, and the connection is closed all the same', async () => {
  await using one = await peer(() => {});
  await expect(
    converse({ host, port: one.port }, context(), () => Promise.reject(new Error('a defect'))),
  ).rejects.toThrow('a defect');
  expect(await one.endings()).toEqual(['fin']);
});

const names = (found: readonly string[]) => ({ lookup: () => Promise.resolve(found) });
const unnamed = (code: string) => ({
  lookup: () => Promise.reject(Object.assign(new Error('planted'), { code })),
});

test("this machine's own resolver knows its hosts file", async () => {
  await using one = await peer((socket) => socket.write('hello\n'));
  const observation = await converse({ host: 'localhost', port: one.port }, context(), oneLine);
  expect(observation).toMatchObject({ outcome: 'answered' });
});

test('the next address is tried when one fails', async () => {
  await using one = await peer((socket) => socket.write('hello\n'), '127.0.0.2');
  const observation = await converse(
    { host: 'db.fernhill.home.arpa', port: one.port },
    context(names(['127.0.0.1', '127.0.0.2'])),
    oneLine,
  );
  expect(observation).toMatchObject({ outcome: 'answered' });
  expect(observation.phases).toHaveProperty('resolveUs');
});

test('a silent address leaves time for the next', async () => {
  await using full = await fullPort();
  await using _other = await peer((socket) => socket.write('hello\n'), '127.0.0.2', full.port);
  const observation = await converse(
    { host: 'db.fernhill.home.arpa', port: full.port },
    context({ ...names(['127.0.0.1', '127.0.0.2']), timeoutMs: 600 }),
    oneLine,
  );
  expect(observation).toMatchObject({ outcome: 'answered' });
});

test('of several failed addresses the most telling trouble is reported, with the address', async () => {
  const port = await closedPort();
  const observation = await converse(
    { host: 'db.fernhill.home.arpa', port },
    // A link-local address without its interface has no route (EINVAL), and nothing leaves the machine.
    context(names(['127.0.0.1', 'fe80::1'])),
    oneLine,
  );
  expect(observation.trouble).toMatchObject({
    reason: 'refused',
    detail: `nothing listens on db.fernhill.home.arpa:${port} (127.0.0.1)`,
  });
});

test.each([
  ['ENOTFOUND', 'not-found'],
  ['EAI_AGAIN', 'no-answer'],
  ['EAI_FAIL', 'server-failure'],
])('a name that fails with %s is name/%s', async (code, reason) => {
  expect(
    (await converse({ host: 'db.fernhill.home.arpa', port: 1 }, context(unnamed(code)), oneLine))
      .trouble,
  ).toMatchObject({ layer: 'name', reason });
});

test('a name without addresses does not exist; a silent name server did not answer', async () => {
  const target = { host: 'db.fernhill.home.arpa', port: 1 };
  expect((await converse(target, context(names([])), oneLine)).trouble?.reason).toBe('not-found');
  const silent = context({ lookup: () => new Promise(() => {}), timeoutMs: 50 });
  expect((await converse(target, silent, oneLine)).trouble).toMatchObject({ reason: 'no-answer' });
});

test("this machine's own want of descriptors is no trouble of the peer", async () => {
  await expect(
    converse({ host: 'db.fernhill.home.arpa', port: 1 }, context(unnamed('EMFILE')), oneLine),
  ).rejects.toMatchObject({ code: 'EMFILE' });
});

const pair = selfSigned('DNS:db.fernhill.home.arpa');
const insecure = { rejectUnauthorized: false };

async function securedLine(wire: Wire, course: Course): Promise<Observation> {
  wire.write(Buffer.from('go\n'));
  const ready = await wire.read(line);
  if (!ready.ok) return course.troubled(ready.trouble);
  const secured = await wire.secure(insecure);
  if (!secured.ok) return course.troubled(secured.trouble);
  return oneLine(wire, course);
}

test('the connection goes over to TLS, and says goodbye there', async () => {
  let ended = (_how: string) => {};
  const ending = new Promise<string>((resolve) => {
    ended = resolve;
  });
  await using one = await peer((socket) => {
    socket.once('data', () => {
      socket.write('ok\n');
      socket.removeAllListeners('data');
      const secured = new TLSSocket(socket, {
        isServer: true,
        secureContext: createSecureContext(pair),
      });
      secured.once('secure', () => secured.write('secret\n'));
      secured.on('error', (error) => ended(error.message));
      secured.on('end', () => ended('close_notify'));
      secured.resume();
    });
  });
  const observation = await converse({ host, port: one.port }, context(), securedLine);
  expect(observation).toMatchObject({ outcome: 'answered', facts: { line: 'secret' } });
  expect(observation.phases).toHaveProperty('secureUs');
  expect(await ending).toBe('close_notify');
});

test.each([
  ['sends plain bytes along', 'ok\ninjected\n', 'malformed', 'before the TLS handshake'],
  ['never begins it', 'ok\n', 'no-reply', 'did not answer within 0.2 s'],
])('a peer that %s does not pass as TLS', async (_name, bytes, reason, words) => {
  await using one = await peer((socket) => socket.once('data', () => socket.write(bytes)));
  const observation = await converse(
    { host, port: one.port },
    context({ timeoutMs: 200 }),
    securedLine,
  );
  expect(observation.trouble).toMatchObject({ reason, detail: expect.stringContaining(words) });
});

test.each([
  ['FIN', (socket: Socket) => socket.end()],
  ['reset', (socket: Socket) => socket.resetAndDestroy()],
])('a %s in the handshake fails it', async (_name, cut) => {
  await using one = await peer((socket) => {
    socket.once('data', () => {
      socket.write('ok\n');
      socket.once('data', () => cut(socket));
    });
  });
  expect((await converse({ host, port: one.port }, context(), securedLine)).trouble).toMatchObject({
    layer: 'tls',
    reason: 'handshake-failed',
    detail: `127.0.0.1:${one.port} cut the connection during the TLS handshake`,
  });
});

test('a peer that answers the handshake with text does not speak TLS', async () => {
  await using one = await peer((socket) => {
    socket.once('data', () => {
      socket.write('ok\n');
      socket.once('data', () => socket.write('HTTP/1.1 400 Bad Request\r\n\r\n'));
    });
  });
  expect((await converse({ host, port: one.port }, context(), securedLine)).trouble).toMatchObject({
    reason: 'handshake-failed',
    detail: `127.0.0.1:${one.port} does not speak TLS`,
  });
});
