/** Migrations: in order, each once, all or nothing. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { migrate, readMigrations } from '../../src/record/sqlite/migrate.ts';
import { temporaryFolder } from './support/sqlite.ts';

let database: Database.Database;
beforeEach(() => {
  database = new Database(':memory:');
});
afterEach(() => database.close());

const version = () => database.pragma('user_version', { simple: true });
const first = { version: 1, sql: 'CREATE TABLE one (a INTEGER) STRICT;' };
const second = { version: 2, sql: 'CREATE TABLE two (b INTEGER) STRICT;' };
const tables = () => database.prepare('SELECT name FROM sqlite_schema ORDER BY name').pluck().all();

test('what is missing is applied, and what is there is not applied again', () => {
  expect(migrate(database, [first])).toBe(1);
  expect(migrate(database, [first, second])).toBe(1);
  expect(migrate(database, [first, second])).toBe(0);
  expect(tables()).toEqual(['one', 'two']);
  expect(version()).toBe(2);
});

test('one that fails half way leaves nothing of itself', () => {
  const broken = { version: 2, sql: 'CREATE TABLE two (b INTEGER) STRICT; CREATE TABLE one (c);' };
  expect(() => migrate(database, [first, broken])).toThrow('already exists');
  expect(tables()).toEqual(['one']);
  expect(version()).toBe(1);
});

test('the released ones are numbered without a hole', () => {
  const migrations = readMigrations();
  expect(migrations.map((one) => one.version)).toEqual(migrations.map((_, place) => place + 1));
});

test('a missing number is a defect', () => {
  const { folder, end } = temporaryFolder();
  mkdirSync(join(folder, 'migrations'));
  for (const name of ['0001-one.sql', '0003-three.sql', 'notes.txt']) {
    writeFileSync(join(folder, 'migrations', name), '');
  }
  const url = pathToFileURL(`${join(folder, 'migrations')}/`);
  expect(() => readMigrations(url)).toThrow('Migration 2 is missing before 0003-three.sql.');
  end();
});
