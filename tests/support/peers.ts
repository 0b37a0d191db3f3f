/**
 * Tests against real servers need these servers installed. Where one is missing its suite is skipped and says so:
 * on the console, and by name in the file that ROLLCALL_SKIPPED names. With ROLLCALL_PEERS=required it fails instead.
 */
import { appendFileSync, existsSync } from 'node:fs';
import { describe } from 'vitest';

/**
 * `describe` where the server's program is there; where not, one that skips. `hindrance` says why it cannot be run here
 * though it is installed (rights, the kernel); that is only said, since nobody can install it away.
 */
export function needs(
  server: string,
  programPath: string,
  hindrance: () => string | null = () => null,
): typeof describe | typeof describe.skip {
  const { ROLLCALL_PEERS, ROLLCALL_SKIPPED } = process.env;
  const missing = existsSync(programPath) ? null : `${programPath} is missing`;
  if (missing !== null && ROLLCALL_PEERS === 'required') {
    throw new Error(`${server} is not installed: ${missing}`);
  }
  const why = missing ?? hindrance();
  if (why === null) return describe;
  console.warn(`skipped: ${server}, since ${why}`);
  if (ROLLCALL_SKIPPED) appendFileSync(ROLLCALL_SKIPPED, `${server}\n`);
  return describe.skip;
}
