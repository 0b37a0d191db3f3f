/** All that stands on one connection to a record: made anew where another file takes the place of a damaged one. */
import type { Database } from 'better-sqlite3';
import type { Log } from '../../base/log.ts';
import { type Blocks, blocksOf, damagedOnce } from './blocks.ts';
import { type FactsStore, factsStore } from './facts.ts';
import { type Tables, tablesOf } from './tables.ts';
import { type Tail, tailOf } from './tail.ts';

export interface Store {
  readonly database: Database;
  readonly tables: Tables;
  readonly facts: FactsStore;
  readonly tail: Tail;
  readonly blocks: Blocks;
}

export function storeOn(database: Database, log: Log): Store {
  const tables = tablesOf(database, log);
  const facts = factsStore(database);
  return {
    database,
    tables,
    facts,
    tail: tailOf(database, tables.keys, facts),
    blocks: blocksOf(database, damagedOnce(log)),
  };
}
