/** `rollcall job run`: runs a command as if it had been started itself, and tells the daemon how that went. */
import { randomUUID } from 'node:crypto';
import { runReporter } from './job-report.ts';
import { endAs, passThrough, sayBetween } from './pass-through.ts';
import { valueFile } from './told-value.ts';

export async function jobRun(given: {
  readonly id: string;
  readonly command: readonly string[];
  /** The data folder. */
  readonly folder: string;
}): Promise<void> {
  const said = new Set<string>();
  const say = (text: string): void => {
    if (!said.has(text)) sayBetween(`rollcall: ${text}\n`);
    said.add(text);
  };
  const reporter = runReporter({
    folder: given.folder,
    jobId: given.id,
    runId: randomUUID(),
    beganAt: Date.now(),
    say,
  });
  const file = valueFile();
  // Beside the command, which does not wait for anybody.
  const [passed] = await Promise.all([
    passThrough(given.command, file.environment),
    reporter.began(),
  ]);
  const endedAt = Date.now();
  const told = file.read();
  file.remove();
  if (told === undefined) say('what the command wrote into $ROLLCALL_VALUE is no number');
  await reporter.ended(endedAt, { ...passed, ...(told ?? { value: null, unit: null }) });
  endAs(passed);
}
