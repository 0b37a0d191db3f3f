/** Where a command finds its things: the data folder, the configuration, the daemon's socket. */
import { existsSync } from 'node:fs';
import { resolve } from 'node:path';

/** `--data`, else ROLLCALL_DATA, else ./data. Absolute. */
export function dataFolder(option: string | undefined): string {
  return resolve(option ?? process.env['ROLLCALL_DATA'] ?? 'data');
}

/** The named configuration, else `rollcall.yaml` in the data folder when it is there, else none. */
export function configFile(option: string | undefined, folder: string): string | null {
  if (option !== undefined) return resolve(option);
  const own = resolve(folder, 'rollcall.yaml');
  return existsSync(own) ? own : null;
}

/** Commands and the running daemon talk over it. Its folder is readable for the owner only. */
export function socketPath(folder: string): string {
  return resolve(folder, 'rollcall.sock');
}

/** Ends with this status once what was written has left. */
export function exit(status: number): void {
  process.exitCode = status;
}
