/** Whether the record is written, and what is wrong with it. */
import type { RecordHealth } from '../record.ts';
import { sizeBytesOf } from './files.ts';
import type { Writer } from './writer.ts';

export function healthOf(writer: Writer, path: string, damage: string | null): RecordHealth {
  const trouble = writer.trouble();
  return {
    writable: trouble === null,
    trouble,
    queuedCount: writer.queue.count(),
    droppedCount: writer.queue.droppedCount(),
    // Asked for by few, and dear: files are looked at.
    get sizeBytes() {
      return sizeBytesOf(path);
    },
    lastCommitAt: writer.lastCommitAt(),
    damage,
  };
}
