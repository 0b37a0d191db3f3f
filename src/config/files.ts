/** Reads the configuration and the files that it names: bounded, text only, and never waiting for anything. */
import { closeSync, openSync, readSync, statSync } from 'node:fs';
import { messageOf } from '../base/errors.ts';
import { namedFileBytesMax } from '../base/limits.ts';

/** At most `bytesMax` bytes and one more, which tells that the file is too long. Throws the system's own errors. */
export type ReadFile = (path: string, bytesMax: number) => Uint8Array;

export type TextRead =
  | { readonly ok: true; readonly text: string }
  /** Completes "the file … ". */
  | { readonly ok: false; readonly why: string };

/** Pipes are read to their end, so that a configuration can come from another command. */
export function readBounded(path: string, bytesMax: number): Uint8Array {
  const descriptor = openSync(path, 'r');
  try {
    const bytes = Buffer.alloc(bytesMax + 1);
    let length = 0;
    while (length < bytes.length) {
      const count = readSync(descriptor, bytes, length, bytes.length - length, null);
      if (count === 0) break;
      length += count;
    }
    return bytes.subarray(0, length);
  } finally {
    closeSync(descriptor);
  }
}

/** Of regular files only: opening a pipe that nobody writes to would wait for ever. */
export function readRegular(path: string, bytesMax: number): Uint8Array {
  const stats = statSync(path);
  if (!stats.isFile() && !stats.isDirectory()) throw new Error('it is not an ordinary file');
  return readBounded(path, bytesMax);
}

/** The trimmed content of a file that a `file:PATH` names. */
export function readNamedFile(path: string, readFile: ReadFile): TextRead {
  const content = readText(path, namedFileBytesMax, readFile);
  if (!content.ok) return content;
  const text = content.text.trim();
  return text === '' ? { ok: false, why: 'is empty' } : { ok: true, text };
}

export function readText(path: string, bytesMax: number, readFile: ReadFile): TextRead {
  let bytes: Uint8Array;
  try {
    bytes = readFile(path, bytesMax);
  } catch (error) {
    return { ok: false, why: sayFileError(error) };
  }
  if (bytes.byteLength > bytesMax) {
    return { ok: false, why: `is longer than ${bytesMax / 1_024} KiB` };
  }
  try {
    return { ok: true, text: new TextDecoder('utf-8', { fatal: true }).decode(bytes) };
  } catch {
    return { ok: false, why: 'is not a text in UTF-8' };
  }
}

const fileErrors: Readonly<Record<string, string>> = {
  ENOENT: 'is not there',
  ENOTDIR: 'is not there: a part of the way to it is a file',
  EACCES: 'may not be read by this user',
  EPERM: 'may not be read by this user',
  EISDIR: 'is a folder',
  ELOOP: 'is a link that leads to itself',
};

function sayFileError(error: unknown): string {
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  return fileErrors[code] ?? `cannot be read (${code || messageOf(error)})`;
}
