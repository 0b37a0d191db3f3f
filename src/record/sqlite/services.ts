/** Services by a small number: the ids are long, and stand in every row. */
import type { Database } from 'better-sqlite3';

export interface ServiceKeys {
  /** Null: the record has never heard of it. */
  known(serviceId: string): number | null;
  /** Gives it a number where it has none. Within a transaction. */
  made(serviceId: string): number;
  /** After a transaction that was undone: numbers given in it do not hold. */
  forget(): void;
}

export function serviceKeys(database: Database): ServiceKeys {
  const find = database.prepare<[string], { key: number }>('SELECT key FROM services WHERE id = ?');
  const make = database.prepare<[string]>('INSERT INTO services (id) VALUES (?)');
  const keys = new Map<string, number>();

  const known = (serviceId: string): number | null => {
    const key = keys.get(serviceId) ?? find.get(serviceId)?.key;
    if (key === undefined) return null;
    keys.set(serviceId, key);
    return key;
  };

  return {
    known,
    made: (serviceId) => {
      const key = known(serviceId) ?? Number(make.run(serviceId).lastInsertRowid);
      keys.set(serviceId, key);
      return key;
    },
    forget: () => keys.clear(),
  };
}
