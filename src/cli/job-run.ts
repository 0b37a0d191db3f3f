/** `rollcall job run`: runs a command as if it had been started itself, and tells the daemon how that went. */
import { randomUUID } from 'node:crypto';
import { runReporter } from './job-report.ts';
import { endAs, passThrough, sayBetween } from './pass-through.ts';

export async function jobRun(given: {
  readonly id: string;
  readonly command: readonly string[];
  /** The data folder. */
  readonly folder: string;
}): Promise<void> {
  const said = new Set<string>();
  const reporter = runReporter({
    folder: given.folder,
    jobId: given.id,
    runId: randomUUID(),
    beganAt: Date.now(),
    say: (text) => {
      if (!said.has(text)) sayBetween(`rollcall: ${text}\n`);
      said.add(text);
    },
  });
  // Beside the command, which does not wait for anybody.
  const [passed] = await Promise.all([passThrough(given.command), reporter.began()]);
  await reporter.ended(Date.now(), passed);
  endAs(passed);
}
