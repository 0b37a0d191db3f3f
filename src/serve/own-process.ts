/** What the process takes of its machine, as the kernel counts it. */
import { readFileSync } from 'node:fs';

export interface OwnProcess {
  readonly memoryBytes: number;
  /** Handed to the disk since the start; null: this system does not tell. */
  readonly writtenBytes: number | null;
}

export function ownProcess(): OwnProcess {
  return { memoryBytes: process.memoryUsage.rss(), writtenBytes: writtenBytes() };
}

/** `write_bytes` of /proc/self/io (proc(5)): what was caused to be sent to the storage layer. */
function writtenBytes(): number | null {
  try {
    const bytes = /^write_bytes: (\d+)$/m.exec(readFileSync('/proc/self/io', 'latin1'))?.[1];
    return bytes === undefined ? null : Number(bytes);
  } catch {
    return null;
  }
}
