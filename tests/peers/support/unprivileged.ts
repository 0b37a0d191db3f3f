/** Servers that refuse to run as root run as an account of their own. */
import { execFileSync } from 'node:child_process';

export interface Account {
  readonly uid: number;
  readonly gid: number;
}

/** The first of these accounts that exists; null when this process is no root: then it may run the server itself. */
export function unprivileged(names: readonly string[]): Account | null {
  if (process.getuid?.() !== 0) return null;
  const id = (flag: string, name: string) =>
    Number(execFileSync('id', [flag, name], { stdio: ['ignore', 'pipe', 'ignore'] }));
  for (const name of names) {
    try {
      return { uid: id('-u', name), gid: id('-g', name) };
    } catch {
      // There is no such account: the next one.
    }
  }
  throw new Error(`none of these accounts exists: ${names.join(', ')}`);
}
