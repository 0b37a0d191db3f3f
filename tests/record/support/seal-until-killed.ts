/**
 * Run as a process of its own: writes one piece of the course after the other into the record at the path that it is
 * given, and puts away and seals what it can. Says `written N`, and `batch` before each batch of the sealing is written.
 * It never ends by itself.
 */
import { writeSync } from 'node:fs';
import { messageOf } from '../../../src/base/errors.ts';
import { pieceMs, pieceNumber } from './sealed-course.ts';
import { openSealed } from './sealing.ts';
import { t0 } from './values.ts';

const [path = '', first = '0'] = process.argv.slice(2);

try {
  const record = openSealed(path, { rowsMax: 20, handedOver: () => void writeSync(1, 'batch\n') });
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
