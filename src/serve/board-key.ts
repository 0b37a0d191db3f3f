/**
 * The key that all other keys of the board are made of: random, made once, kept beside the record, so that a restart signs
 * nobody out. Who can read it can read the record as well.
 */
import { randomBytes } from 'node:crypto';
import { chmodSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { messageOf } from '../base/errors.ts';
import type { Log } from '../base/log.ts';

const keyBytes = 32;

/** Where the folder cannot be written to, a key for this run: everybody signs in again after the next start. */
export function boardKeyIn(folder: string, log: Log): Buffer {
  const path = join(folder, 'board.key');
  const known = read(path);
  if (known?.length === keyBytes) {
    // Copied about it may have become readable for others.
    chmodSync(path, 0o600);
    return known;
  }
  const made = randomBytes(keyBytes);
  try {
    // One that was cut short is no key: it is written anew.
    writeFileSync(path, made, { mode: 0o600, flush: true });
    chmodSync(path, 0o600);
  } catch (thrown) {
    log.warn({ error: messageOf(thrown) }, 'the key of the board could not be kept');
  }
  return made;
}

function read(path: string): Buffer | null {
  try {
    return readFileSync(path);
  } catch {
    return null;
  }
}
