/** What the kernel knows of a process (proc(5)). */
import { readFileSync } from 'node:fs';

/** Of its children, as they are at this moment. */
export function childrenOf(pid: number): readonly number[] {
  const text = readFileSync(`/proc/${pid}/task/${pid}/children`, 'utf8');
  return text
    .trim()
    .split(/\s+/)
    .filter((word) => word !== '')
    .map(Number);
}

/** The most memory that it has had so far. */
export function highWaterMb(pid: number): number {
  try {
    return Number(/VmHWM:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1]) / 1_024;
  } catch {
    // It has ended already.
    return 0;
  }
}
