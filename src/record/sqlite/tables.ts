/** All that reads and writes one database, the tail apart: the record itself, or the stand-in for it. */
import type { Database } from 'better-sqlite3';
import type { Log } from '../../base/log.ts';
import { type Changes, changesOn } from './changes.ts';
import { type NoticeEdits, noticeEditsOn } from './notices.ts';
import { type Outbox, outboxOf } from './outbox.ts';
import { type Queries, queriesOf } from './queries.ts';
import { type ServiceKeys, serviceKeys } from './services.ts';

export interface Tables {
  readonly database: Database;
  readonly keys: ServiceKeys;
  readonly changes: Changes;
  readonly notices: NoticeEdits;
  readonly queries: Queries;
  readonly outbox: Outbox;
}

export function tablesOf(database: Database, log: Log): Tables {
  const keys = serviceKeys(database);
  const notices = noticeEditsOn(database);
  return {
    database,
    keys,
    notices,
    changes: changesOn(database, { keys, notices }),
    queries: queriesOf(database, keys, log),
    outbox: outboxOf(database),
  };
}
