#!/usr/bin/env node
/**
 * The command line: what each command is called with. The work is in the command's own file,
 * loaded when it is called: a cron job that reports in should not wait for the daemon's libraries.
 */
import { Command, CommanderError } from 'commander';
import { messageOf, RollcallError } from '../base/errors.ts';
import { version } from '../base/version.ts';
import { dataFolder, exit } from './place.ts';
import { keepHeapSmall } from './small-heap.ts';

const configOption = [
  '--config <file>',
  'the configuration; else rollcall.yaml in the data folder',
] as const;
const dataOption = ['--data <folder>', 'the data folder; else ROLLCALL_DATA, else ./data'] as const;

const program = new Command('rollcall')
  .description(
    'Asks the services of a home server whether they are there, keeps the record, tells what changed.',
  )
  .version(version)
  .exitOverride()
  .configureHelp({ showGlobalOptions: true });

program
  .command('start')
  .description(
    'The daemon, in the foreground: JSON log on stdout, what a person should read on stderr.',
  )
  .option(...configOption)
  .option(...dataOption)
  .action(async (options: { config?: string; data?: string }) => {
    keepHeapSmall();
    const { start } = await import('./start.ts');
    await start({ config: options.config, folder: dataFolder(options.data) });
  });

program
  .command('check')
  .description('Asks now, once; through the running daemon where there is one.')
  .argument('[service...]', 'ids or names; none: all')
  .option(...configOption)
  .option(...dataOption)
  .option('--json', 'for a program to read')
  .action(
    async (services: string[], options: { config?: string; data?: string; json?: boolean }) => {
      const { check } = await import('./check.ts');
      await check({
        services,
        config: options.config,
        folder: dataFolder(options.data),
        json: options.json ?? false,
      });
    },
  );

const config = program.command('config').description('The configuration itself.');
config
  .command('check')
  .description(
    'Every mistake, with its line, its column, what was expected and the nearest known key.',
  )
  .option(...configOption)
  .option(...dataOption)
  .action(async (options: { config?: string; data?: string }) => {
    const { configCheck } = await import('./config.ts');
    configCheck({ config: options.config, folder: dataFolder(options.data) });
  });
config
  .command('schema')
  .description('The JSON Schema of the configuration, for editors.')
  .action(async () => (await import('./config.ts')).configSchema());

program
  .command('report')
  .description('What a month was like: availability, outages, times, budgets.')
  .option('--month <month>', 'as 2026-11, on the calendar of the board; else the current one')
  .option('--format <format>', 'text, json, html or csv', 'text')
  .option(...configOption)
  .option(...dataOption)
  .action(async (options: { month?: string; format: string; config?: string; data?: string }) => {
    const { report } = await import('./report.ts');
    await report({
      month: options.month,
      format: options.format,
      config: options.config,
      folder: dataFolder(options.data),
    });
  });

program
  .command('plan')
  .description('Plans work from now on: its time does not count, and nothing is told in it.')
  .argument('[duration]', 'as 45m or 2h; with --end: the id of a window, none: those that run')
  .option('--service <service...>', 'ids or names; none, and no group: all')
  .option('--group <group...>', 'groups whose services it is about')
  .option('--why <text>', 'shown with it')
  .option('--end', 'ends what runs now, or takes back what was declared')
  .option(...configOption)
  .option(...dataOption)
  .action(async (duration: string | undefined, options: PlanOptions) => {
    const { plan } = await import('./plan.ts');
    await plan({
      duration,
      services: options.service ?? [],
      groups: options.group ?? [],
      why: options.why,
      end: options.end ?? false,
      config: options.config,
      folder: dataFolder(options.data),
    });
  });

program
  .command('job')
  .description('Scheduled work that reports in.')
  .command('run')
  .description(
    'Runs a command as if it had been started itself, and tells the daemon how that went; without a daemon it runs all the same, and is told later. A number that it writes to the file $ROLLCALL_VALUE, such as "9800000000 bytes", is told with it.',
  )
  .usage('[options] <id> -- <command...>')
  .argument('<id>', 'id of the job in the configuration')
  .argument('<command...>', 'what is run')
  .option(...dataOption)
  .action(async (id: string, command: string[], options: { data?: string }) => {
    const { jobRun } = await import('./job-run.ts');
    await jobRun({ id, command, folder: dataFolder(options.data) });
  });

program
  .command('backup')
  .description('A checked copy of the record, now; by the running daemon where there is one.')
  .argument('[file]', 'where it goes; else where the configuration says')
  .option(...configOption)
  .option(...dataOption)
  .action(async (file: string | undefined, options: { config?: string; data?: string }) => {
    const { backup } = await import('./backup.ts');
    await backup({ file, config: options.config, folder: dataFolder(options.data) });
  });

program
  .command('record')
  .description('The record itself.')
  .command('check')
  .description(
    'Whether it is as it was written, and whether what it says follows from its answers.',
  )
  .option(...dataOption)
  .option('--json', 'for a program to read')
  .action(async (options: { data?: string; json?: boolean }) => {
    const { recordCheck } = await import('./record-check.ts');
    await recordCheck({ folder: dataFolder(options.data), json: options.json ?? false });
  });

program
  .command('known')
  .description('"I know": no more reminders of an outage.')
  .argument('<outage>', 'its id, as its page and its messages have it, or what is down: id or name')
  .option(...configOption)
  .option(...dataOption)
  .action(async (outage: string, options: { config?: string; data?: string }) => {
    const { known } = await import('./known.ts');
    await known({ outage, config: options.config, folder: dataFolder(options.data) });
  });

program
  .command('notice')
  .description('Messages.')
  .command('test')
  .description('A test notice through a channel, and what the other side said.')
  .argument('[channel]', 'its name; none: all of them')
  .option(...configOption)
  .option(...dataOption)
  .action(async (channel: string | undefined, options: { config?: string; data?: string }) => {
    const { noticeTest } = await import('./notice-test.ts');
    await noticeTest({
      channel: channel ?? null,
      config: options.config,
      folder: dataFolder(options.data),
    });
  });

const keys = program
  .command('key')
  .description(
    'A pair of keys for a WireGuard peer of the probe, and what to enter at the endpoint.',
  )
  .action(async () => {
    const { key } = await import('./key.ts');
    key();
  });
keys
  .command('passphrase')
  .description(
    "Hashes a passphrase for the board's sign-in, typed or from standard input, for the configuration.",
  )
  .action(async () => {
    const { keyPassphrase } = await import('./key-passphrase.ts');
    await keyPassphrase();
  });

program
  .command('health')
  .description("The running daemon's own health, for container health checks.")
  .option(...dataOption)
  .action(async (options: { data?: string }) => {
    const { health } = await import('./health.ts');
    await health(dataFolder(options.data));
  });

interface PlanOptions {
  readonly service?: string[];
  readonly group?: string[];
  readonly why?: string;
  readonly end?: boolean;
  readonly config?: string;
  readonly data?: string;
}

try {
  await program.parseAsync();
} catch (thrown) {
  exit(statusOf(thrown));
}

/** 2: used wrongly, or with a configuration that cannot be used; 1: anything else. */
function statusOf(thrown: unknown): number {
  // Commander has said what was wrong, or printed the help that was asked for.
  if (thrown instanceof CommanderError) return thrown.exitCode === 0 ? 0 : 2;
  const wrongConfig = thrown instanceof RollcallError && thrown.code === 'config-invalid';
  // Mistakes stand in lines of their own, each beginning with its place, as editors like them.
  process.stderr.write(wrongConfig ? `${messageOf(thrown)}\n` : `rollcall: ${messageOf(thrown)}\n`);
  const wrongUse =
    thrown instanceof RollcallError && ['usage', 'config-invalid'].includes(thrown.code);
  return wrongUse ? 2 : 1;
}
