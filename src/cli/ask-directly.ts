/** Asking without a daemon: the same probes, once each, and what they keep in the record where there is one. */
import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { bootId, realClock } from '../base/clock-real.ts';
import { concurrentProbesCountMax } from '../base/limits.ts';
import { silentLog } from '../base/log.ts';
import type { Observation } from '../base/values.ts';
import type { Config } from '../config/resolve.ts';
import { keepInMemory } from '../probe/keep-in-memory.ts';
import type { ProbeKeep } from '../probe/probe.ts';
import { ask } from '../probe/registry.ts';
import { openRecord } from '../record/sqlite/open.ts';

/** All of them, many at a time; by id. */
export async function askAll(
  services: Config['services'],
  keep: ProbeKeep,
): Promise<ReadonlyMap<string, Observation>> {
  const clock = realClock();
  const { signal } = new AbortController();
  const observed = new Map<string, Observation>();
  const waiting = [...services];
  const worker = async (): Promise<void> => {
    for (let service = waiting.shift(); service; service = waiting.shift()) {
      const { probe, timeoutMs } = service;
      observed.set(service.id, await ask(probe, { clock, signal, keep, timeoutMs }));
    }
  };
  await Promise.all(Array.from({ length: concurrentProbesCountMax }, worker));
  return observed;
}

/**
 * What a probe must know of its last time (the timestamp of a handshake, say) lies in the record. Where there is none,
 * none is made: asking once should leave nothing behind.
 */
export async function withKeep<Value>(
  folder: string,
  work: (keep: ProbeKeep) => Promise<Value>,
): Promise<Value> {
  if (!existsSync(join(folder, 'rollcall.db'))) return work(keepInMemory());
  const clock = realClock();
  const pulse = () => ({
    wallMs: clock.wallMs(),
    bootMs: Math.round(clock.bootMs()),
    bootId: bootId(),
  });
  const record = await openRecord({ folder, clock, log: silentLog, newId: randomUUID, pulse });
  try {
    return await work({
      read: (key) => record.kept(key),
      write: (key, value) => record.keep(key, value),
    });
  } finally {
    await record.close(pulse());
  }
}
