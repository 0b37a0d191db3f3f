/** `rollcall config check` and `rollcall config schema`. */
import { RollcallError } from '../base/errors.ts';
import { counted, sayWatched } from '../base/words.ts';
import { configJsonSchema } from '../config/json-schema.ts';
import { loadConfig } from '../config/load.ts';
import { configError } from '../config/mistake.ts';
import { configFile } from './place.ts';

export function configCheck(given: { config: string | undefined; folder: string }): void {
  const path = configFile(given.config, given.folder);
  if (path === null) {
    throw new RollcallError(
      'usage',
      `no configuration: name one with --config (${given.folder} has no rollcall.yaml)`,
    );
  }
  const loaded = loadConfig({ path, env: process.env });
  if (!loaded.ok) throw configError(loaded.mistakes);
  const { services, jobs, tell } = loaded.config;
  const watched = sayWatched(services.length, jobs.length);
  process.stdout.write(`${path} is good: ${watched}, ${counted(tell.length, 'channel')}.\n`);
}

export function configSchema(): void {
  process.stdout.write(`${JSON.stringify(configJsonSchema(), null, 2)}\n`);
}
