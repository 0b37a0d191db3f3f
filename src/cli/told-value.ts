/**
 * A number that the command tells of its own work, such as the bytes backed up: it may write one, and what that counts,
 * into the file that `ROLLCALL_VALUE` names. Neither its output nor its arguments are touched for it.
 */
import { closeSync, constants, fstatSync, mkdtempSync, openSync, readSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { unitForm } from '../base/spool-report.ts';

export interface ToldValue {
  readonly value: number;
  readonly unit: string | null;
}

export interface ValueFile {
  /** For the command. Where no file can be made, one that takes all and keeps nothing: the command must not fail of it. */
  readonly environment: { readonly ROLLCALL_VALUE: string };
  /** What it wrote, once it has ended; null: nothing. `undefined`: no number. */
  read(): ToldValue | null | undefined;
  remove(): void;
}

const bytesMax = 400;

export function valueFile(): ValueFile {
  const folder = newFolder();
  const path = folder === null ? null : join(folder, 'value');
  return {
    environment: { ROLLCALL_VALUE: path ?? '/dev/null' },
    read: () => {
      const text = path === null ? '' : textIn(path);
      return text.trim() === '' ? null : toldIn(text);
    },
    remove: () => {
      try {
        if (folder !== null) rmSync(folder, { recursive: true, force: true });
      } catch {
        // It is empty, or the command has put there what is not ours to remove.
      }
    },
  };
}

/** `9800000000 bytes`, `48213`: its last line. Undefined: that is none. */
function toldIn(text: string): ToldValue | undefined {
  const line = text.trim().split('\n').at(-1) ?? '';
  const [, digits, unit = null] =
    /^(-?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,3})?)(?:\s+(.+))?$/.exec(line) ?? [];
  const value = Number(digits ?? Number.NaN);
  if (!Number.isFinite(value) || (unit !== null && !unitForm.test(unit))) return undefined;
  return { value, unit };
}

function newFolder(): string | null {
  try {
    return mkdtempSync(join(tmpdir(), 'rollcall-'));
  } catch {
    return null;
  }
}

/** The end of a plain file; empty: there is none. Neither waited for nor followed elsewhere, whatever lies there. */
function textIn(path: string): string {
  try {
    const file = openSync(path, constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK);
    try {
      const about = fstatSync(file);
      if (!about.isFile()) return '';
      const bytes = Buffer.alloc(bytesMax);
      const count = readSync(file, bytes, 0, bytesMax, Math.max(about.size - bytesMax, 0));
      return bytes.subarray(0, count).toString();
    } finally {
      closeSync(file);
    }
  } catch {
    return '';
  }
}
