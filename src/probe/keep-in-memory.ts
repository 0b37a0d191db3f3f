/** What probes keep, without a record behind it: it lasts as long as the process. */
import type { ProbeKeep } from './probe.ts';

export function keepInMemory(): ProbeKeep {
  const kept = new Map<string, string>();
  return {
    read: async (key) => kept.get(key) ?? null,
    write: async (key, value) => void kept.set(key, value),
  };
}
