/** The contract of the Record port, for each engine behind it. */
import { type OpenedRecord, recordContract } from '../support/record-contract.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { outboxContract } from './support/outbox-contract.ts';
import { outboxWaysContract } from './support/outbox-ways-contract.ts';
import { ownerContract } from './support/owner-contract.ts';
import { revisionContract } from './support/revision-contract.ts';
import { runsContract } from './support/runs-contract.ts';
import { sealedContract } from './support/sealed-contract.ts';
import { openSqlite } from './support/sqlite.ts';
import { unsteadyContract } from './support/unsteady-contract.ts';

async function openMemory(): Promise<OpenedRecord> {
  const record = memoryRecord();
  return {
    record,
    reopen: async () => record,
    end: async () => {},
  };
}

for (const [engine, open] of [
  ['SQLite', () => openSqlite()],
  ['in memory', openMemory],
] as const) {
  recordContract(engine, open);
  outboxContract(engine, open);
  outboxWaysContract(engine, open);
  ownerContract(engine, open);
  revisionContract(engine, open);
  runsContract(engine, open);
  sealedContract(engine, open);
  unsteadyContract(engine, open);
}
