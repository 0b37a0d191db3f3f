/**
 * Tests against real servers need these servers installed. Where one is missing its suite is skipped and says so:
 * on the console, and by name in the file that ROLLCALL_SKIPPED names. With ROLLCALL_PEERS=required it fails instead.
 */
import { appendFileSync, existsSync } from 'node:fs';
import { describe } from 'vitest';

/** `describe` where the server's program is there; where not, one that skips. */
export function needs(server: string, programPath: string): typeof describe | typeof describe.skip {
  if (existsSync(programPath)) return describe;
  const said = `${server} is not installed (${programPath} is missing)`;
  const { ROLLCALL_PEERS, ROLLCALL_SKIPPED } = process.env;
  if (ROLLCALL_PEERS === 'required') throw new Error(said);
  console.warn(`skipped: ${said}`);
  if (ROLLCALL_SKIPPED) appendFileSync(ROLLCALL_SKIPPED, `${server}\n`);
  return describe.skip;
}
