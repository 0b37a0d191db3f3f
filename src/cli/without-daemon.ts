/** What a command goes by that no daemon answers. */
import { RollcallError } from '../base/errors.ts';
import { loadConfig } from '../config/load.ts';
import { configError } from '../config/mistake.ts';
import type { Config } from '../config/resolve.ts';
import { configFile } from './place.ts';

interface Asked {
  readonly config: string | undefined;
  readonly folder: string;
}

/** The configuration named, or the one in the data folder. Throws `usage` without one, and the mistakes of a wrong one. */
export function configuredWithout({ config, folder }: Asked): {
  readonly config: Config;
  readonly secrets: readonly string[];
} {
  const path = configFile(config, folder);
  if (path === null) {
    throw new RollcallError(
      'usage',
      `no daemon runs on ${folder}, and it has no rollcall.yaml: name a configuration with --config`,
    );
  }
  const loaded = loadConfig({ path, env: process.env });
  if (!loaded.ok) throw configError(loaded.mistakes);
  return loaded;
}
