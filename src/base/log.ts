/** What the house logs through. The daemon hands in pino; tests a list; the pure folders get none. */

export interface Log {
  debug(fields: object, message: string): void;
  info(fields: object, message: string): void;
  warn(fields: object, message: string): void;
  error(fields: object, message: string): void;
}

export const silentLog: Log = { debug: () => {}, info: () => {}, warn: () => {}, error: () => {} };
