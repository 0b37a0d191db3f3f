/**
 * `rollcall record check`: whether the record is as it was written, and whether what it says follows from the answers in
 * it. Looks at the file itself, also while a daemon runs: it disturbs none.
 */
import { RollcallError } from '../base/errors.ts';
import { counted } from '../base/words.ts';
import { type Inspected, inspectRecord } from '../record/sqlite/inspect.ts';
import { exit } from './place.ts';

interface RecordCheckGiven {
  readonly folder: string;
  readonly json: boolean;
}

export async function recordCheck({ folder, json }: RecordCheckGiven): Promise<void> {
  const found = await inspectRecord(folder);
  if (found === null) throw new RollcallError('usage', `no daemon has kept a record in ${folder}`);
  const isSound = found.faults.length === 0 && found.contradictions.length === 0;
  process.stdout.write(
    json ? `${JSON.stringify({ sound: isSound, ...found }, null, 2)}\n` : said(found),
  );
  if (!isSound) exit(1);
}

function said(found: Inspected): string {
  const { faults, contradictions, servicesCount, observationsCount, sealedDaysCount } = found;
  if (faults.length > 0) return `${['The record is damaged.', ...faults].join('\n  ')}\n`;
  const lines = contradictions.flatMap(({ serviceId, found: sentences }) => [
    `${serviceId}:`,
    ...sentences.map((sentence) => `  ${sentence}`),
  ]);
  const looked = `${counted(observationsCount, 'answer')} of ${counted(servicesCount, 'service')}, ${counted(sealedDaysCount, 'sealed day')}`;
  const verdict =
    lines.length === 0
      ? 'every checksum holds, and all that is said follows from them.'
      : 'every checksum holds; this does not follow from them:';
  return `${[`${looked}: ${verdict}`, ...lines].join('\n')}\n`;
}
