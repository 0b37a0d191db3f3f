/**
 * Run as a process of its own: opens the record in the folder that it is given and commits one change set after the
 * other, writing the number of each to its output when the promise has resolved. It never ends by itself.
 */
import { randomUUID } from 'node:crypto';
import { writeSync } from 'node:fs';
import { realClock } from '../../../src/base/clock-real.ts';
import { messageOf } from '../../../src/base/errors.ts';
import { silentLog } from '../../../src/base/log.ts';
import { openRecord } from '../../../src/record/sqlite/open.ts';
import { changeSetNumber } from './change-sets.ts';
import { pulse } from './values.ts';

const [folder = '', first = '0'] = process.argv.slice(2);
const clock = realClock();

try {
  const record = await openRecord({
    folder,
    clock,
    log: silentLog,
    newId: randomUUID,
    pulse: () => pulse(clock.wallMs()),
  });
  writeSync(1, 'open\n');
  for (let number = Number(first); ; number++) {
    const { routine, set } = changeSetNumber(number);
    for (const entry of routine) await record.observe(entry);
    await record.commit(set);
    writeSync(1, `${number}\n`);
    // The event loop has its turn, as it has in the daemon.
    await new Promise((resolve) => setImmediate(resolve));
  }
} catch (thrown) {
  writeSync(2, `${messageOf(thrown)}\n`);
  process.exitCode = 3;
}
