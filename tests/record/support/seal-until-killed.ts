/**
 * Run as a process of its own: writes one piece of the course after the other into the record at the path that it is
 * given, says `written N` of each, and puts away and seals what it can. In the batch of that number it kills itself, before
 * the statement of that number.
 */
import { writeSync } from 'node:fs';
import { messageOf } from '../../../src/base/errors.ts';
import { pieceMs, pieceNumber } from './sealed-course.ts';
import { openSealed } from './sealing.ts';
import { t0 } from './values.ts';

const [path = '', first = '0', batch = '1', statement = '1'] = process.argv.slice(2);

let batches = 0;
let statements = 0;

try {
  const record = openSealed(path, {
    rowsMax: 20,
    handedOver: () => {
      batches++;
    },
    stated: () => {
      if (batches >= Number(batch) && ++statements === Number(statement)) {
        process.kill(process.pid, 'SIGKILL');
      }
    },
  });
  for (let number = Number(first); ; number++) {
    record.write(pieceNumber(number));
    writeSync(1, `written ${number}\n`);
    await record.sealing.lookAfter();
    if (number % 3 === 2) await record.sealing.seal(t0 + (number + 1) * pieceMs);
  }
} catch (thrown) {
  writeSync(2, `${messageOf(thrown)}\n`);
  process.exitCode = 3;
}
