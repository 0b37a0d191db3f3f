/**
 * Run as a process of its own: opens the record in the folder that it is given, puts a notice into it where there is none
 * yet, and delivers what waits to the address that it is given. It kills itself without warning in the named phase of the
 * delivery; with no such phase it ends when nothing waits any more.
 */
import { randomUUID } from 'node:crypto';
import { pause } from '../../../src/base/clock.ts';
import { realClock } from '../../../src/base/clock-real.ts';
import { silentLog } from '../../../src/base/log.ts';
import type { Record } from '../../../src/record/record.ts';
import { openRecord } from '../../../src/record/sqlite/open.ts';
import { startDelivery } from '../../../src/tell/delivery.ts';
import { webhookSender } from '../../../src/tell/webhook.ts';
import { changes, notice, pulse } from '../../record/support/values.ts';

const [folder = '', webhook = '', phase = ''] = process.argv.slice(2);
const clock = realClock();
const record = await openRecord({
  folder,
  clock,
  log: silentLog,
  newId: randomUUID,
  pulse: () => pulse(clock.wallMs()),
});

/** The end, where this is the phase: nothing that comes after it happens. */
function dieIn(name: string): void {
  if (phase === name) process.kill(process.pid, 'SIGKILL');
}

const at = clock.wallMs();
if ((await record.deliveriesOf('order-book.1')).length === 0) {
  const one = notice(randomUUID(), { at, notBefore: at });
  await record.commit(changes({ notices: [{ kind: 'add', notice: one }] }));
}
dieIn('before it is claimed');

const watched: Record = {
  ...record,
  claim: async (...given) => {
    const isOurs = await record.claim(...given);
    dieIn('after it was claimed');
    return isOurs;
  },
  attempted: async (attempt) => {
    dieIn('after it was sent');
    await record.attempted(attempt);
    dieIn('after that was put down');
  },
};
const send = webhookSender({ clock, instanceId: record.instanceId });
const delivery = startDelivery({
  record: watched,
  channels: [{ name: 'phone', webhook, secret: null, headers: null, method: 'POST', body: null }],
  clock,
  log: silentLog,
  random: () => 0,
  send,
});
while ((await record.nextDeliveryAt()) !== null) await pause(clock, 10);
await delivery.stop();
await record.close(pulse(clock.wallMs()));
