/** `rollcall start`: the daemon in the foreground. Reads the configuration, logs, minds the signals. */
import { pino } from 'pino';
import { messageOf } from '../base/errors.ts';
import { version } from '../base/version.ts';
import { sayWatched } from '../base/words.ts';
import { loadConfig, loadConfigText } from '../config/load.ts';
import { secretMasker } from '../config/mask.ts';
import { configError } from '../config/mistake.ts';
import type { Config } from '../config/resolve.ts';
import { Daemon } from '../daemon.ts';
import { builtInConfig } from './built-in.ts';
import { configFile, exit, socketPath } from './place.ts';
import { fitHeap } from './small-heap.ts';

interface StartGiven {
  readonly config: string | undefined;
  readonly folder: string;
}

interface Ready {
  readonly config: Config;
  readonly secrets: readonly string[];
}

const builtInBoard = { host: '127.0.0.1', port: 7655 };

export async function start(given: StartGiven): Promise<void> {
  // A log that cannot be written (a full disk, a reader that went away) must not end the watch.
  for (const stream of [process.stdout, process.stderr]) stream.on('error', () => {});
  const path = configFile(given.config, given.folder);
  const first = path === null ? await builtIn() : read(path);
  fitHeap(first.config.services);
  // Later secrets join: a reload must not uncover those of before.
  const secrets = new Set(first.secrets);
  let masker = secretMasker(first.secrets);
  const mask = (text: string) => masker(text);
  const log = pino({ base: null }, { write: (line) => void process.stdout.write(mask(line)) });
  const say = (text: string) => void process.stderr.write(`${mask(text)}\n`);

  if (path === null) sayBuiltIn(say, given.folder);
  const daemon = await Daemon.start({
    config: first.config,
    folder: given.folder,
    socket: socketPath(given.folder),
    log,
    say,
    mask,
    version,
    reread: async () => {
      // The file may have been written since: where there was none, it is looked for again.
      const now = configFile(given.config, given.folder);
      const next = now === null ? await builtIn() : read(now);
      for (const secret of next.secrets) secrets.add(secret);
      masker = secretMasker([...secrets]);
      fitHeap(next.config.services);
      return next.config;
    },
  });
  const { services, jobs } = first.config;
  // Before it says that it is there: who reads that may send one at once.
  mindSignals(daemon, say);
  say(`Rollcall watches ${sayWatched(services.length, jobs.length)}. The board: ${daemon.url}`);
}

function read(path: string): Ready {
  const loaded = loadConfig({ path, env: process.env });
  if (loaded.ok) return loaded;
  throw configError(loaded.mistakes);
}

async function builtIn(): Promise<Ready> {
  const text = await builtInConfig(builtInBoard);
  const loaded = loadConfigText({ text, file: 'built-in', env: {} });
  if (loaded.ok) return loaded;
  throw configError(loaded.mistakes);
}

function sayBuiltIn(say: (text: string) => void, folder: string): void {
  say(
    [
      'No configuration: watching this machine itself.',
      `To watch your own services, write ${folder}/rollcall.yaml (config.example.yaml shows how),`,
      'and send this process a SIGHUP, or name another file with --config.',
      '`rollcall config check` finds every mistake in it.',
    ].join('\n'),
  );
}

/** SIGTERM and SIGINT end, a second one at once; SIGHUP reads the configuration again. */
function mindSignals(daemon: Daemon, say: (text: string) => void): void {
  let ending = false;
  const end = (signal: string) => {
    if (ending) process.exit(1);
    ending = true;
    say(`${signal}: stopping.`);
    daemon.stop().then(
      () => {
        exit(0);
        // Nothing is left to wait for; a socket of a peer that does not let go must not hold the process.
        setTimeout(() => process.exit(), 500).unref();
      },
      (thrown: unknown) => {
        say(`rollcall: ${messageOf(thrown)}`);
        process.exit(1);
      },
    );
  };
  process.on('SIGTERM', () => end('SIGTERM'));
  process.on('SIGINT', () => end('SIGINT'));
  process.on('SIGHUP', () => {
    daemon.reload().catch((thrown: unknown) => say(`rollcall: ${messageOf(thrown)}`));
  });
}
