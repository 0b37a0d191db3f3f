/**
 * What the engine throws, told apart: trouble with the disk or the file, which passes and is waited out,
 * and everything else, which is a defect of ours. Codes: sqlite.org/rescode.html.
 */
import Database from 'better-sqlite3';
import { type ErrorCode, messageOf, RollcallError } from '../../base/errors.ts';

/** By primary result code; an extended one (SQLITE_IOERR_WRITE) begins with it. */
const sentences = {
  SQLITE_FULL: 'the disk is full',
  SQLITE_READONLY: 'its file or folder is read-only',
  SQLITE_IOERR: 'the disk reports an error',
  SQLITE_CORRUPT: 'its file is damaged',
  SQLITE_NOTADB: 'its file is damaged: it is no SQLite database',
  SQLITE_CANTOPEN: 'its file cannot be opened',
  SQLITE_BUSY: 'another program holds its file',
  SQLITE_LOCKED: 'another program holds its file',
  SQLITE_PROTOCOL: 'its file cannot be locked',
  SQLITE_PERM: 'access to its file is denied',
  SQLITE_AUTH: 'access to its file is denied',
  SQLITE_NOMEM: 'memory is short',
} as const;

/** Completes "The record cannot be written: …" for people; null for a defect. */
export function troubleWith(thrown: unknown): string | null {
  if (!(thrown instanceof Database.SqliteError)) return null;
  const primary = thrown.code.split('_').slice(0, 2).join('_');
  const sentence = (sentences as Readonly<{ [code: string]: string }>)[primary];
  return sentence === undefined ? null : `${sentence} (${thrown.code})`;
}

/** Whether what was thrown means that the file itself is damaged, and not only out of reach. */
export function isDamage(thrown: unknown): boolean {
  return (
    thrown instanceof Database.SqliteError && /^SQLITE_(CORRUPT|NOTADB)(_|$)/.test(thrown.code)
  );
}

/** Whether the disk is to blame in a way that passes: it is full, or reports errors. */
export function isPassing(thrown: unknown): boolean {
  return thrown instanceof Database.SqliteError && /^SQLITE_(FULL|IOERR)(_|$)/.test(thrown.code);
}

/** Something thrown, as plain data: so it crosses from one thread to another. */
export type Failure =
  | { readonly kind: 'sqlite'; readonly code: string; readonly message: string }
  | { readonly kind: 'expected'; readonly code: ErrorCode; readonly message: string }
  | { readonly kind: 'defect'; readonly message: string; readonly stack: string | undefined };

export function failureOf(thrown: unknown): Failure {
  const message = messageOf(thrown);
  if (thrown instanceof Database.SqliteError) return { kind: 'sqlite', code: thrown.code, message };
  if (thrown instanceof RollcallError) return { kind: 'expected', code: thrown.code, message };
  return { kind: 'defect', message, stack: thrown instanceof Error ? thrown.stack : undefined };
}

/** The same again, to be thrown. */
export function thrownFrom(failure: Failure): Error {
  switch (failure.kind) {
    case 'sqlite':
      return new Database.SqliteError(failure.message, failure.code);
    case 'expected':
      return new RollcallError(failure.code, failure.message);
    case 'defect': {
      const error = new Error(failure.message);
      if (failure.stack !== undefined) error.stack = failure.stack;
      return error;
    }
  }
}
