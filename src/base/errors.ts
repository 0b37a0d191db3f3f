/** Expected errors carry a code and a text for people; everything else is a defect and may end the process. */

export type ErrorCode =
  | 'config-invalid' // one or more mistakes in the configuration, each with its place
  | 'usage' // a command was called in a way that it does not know
  | 'data-folder-busy' // another daemon holds this data folder
  | 'data-folder-unusable' // it cannot be made, read or written
  | 'record-newer' // the record was written by a later version
  | 'upkeep-failed' // housework of the record could not be done
  | 'listen-failed' // the board's address is taken or not ours
  | 'daemon-absent'; // no daemon answers on the socket of this data folder

export class RollcallError extends Error {
  readonly code: ErrorCode;

  constructor(code: ErrorCode, message: string, options?: ErrorOptions) {
    super(message, options);
    this.name = 'RollcallError';
    this.code = code;
  }
}

/** The message of anything thrown. */
export function messageOf(thrown: unknown): string {
  return thrown instanceof Error ? thrown.message : String(thrown);
}
