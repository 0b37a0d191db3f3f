/** What a record holds, read from a copy of its files as a kill left them: opened, checked, and closed. */
import { randomUUID } from 'node:crypto';
import { copyFileSync, mkdirSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { bootId, realClock } from '../../../src/base/clock-real.ts';
import { silentLog } from '../../../src/base/log.ts';
import type { Outage, Span } from '../../../src/base/values.ts';
import type { DeliveryReport, Pulse } from '../../../src/record/record.ts';
import { openRecord } from '../../../src/record/sqlite/open.ts';

export interface OutageHeld {
  readonly outage: Outage;
  readonly notices: readonly DeliveryReport[];
}

export interface Held {
  /** Of the engine's own check of the whole file. */
  readonly faults: readonly string[];
  /** By service. */
  readonly spans: ReadonlyMap<string, readonly Span[]>;
  /** By service, the oldest first. */
  readonly outages: ReadonlyMap<string, readonly OutageHeld[]>;
  /** Kind of the newest disturbance. */
  readonly lastDisturbance: string | null;
}

const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

/** The files themselves stay as they are: a copy, so that it is the daemon that has to bring them in order. */
export function copyRecord(data: string, copy: string): void {
  rmSync(copy, { recursive: true, force: true });
  mkdirSync(copy, { mode: 0o700 });
  for (const name of readdirSync(data)) {
    if (name.startsWith('rollcall.db')) copyFileSync(join(data, name), join(copy, name));
  }
}

export async function readHeld(folder: string, serviceIds: readonly string[]): Promise<Held> {
  const clock = realClock();
  const pulse = (): Pulse => ({
    wallMs: clock.wallMs(),
    bootMs: Math.round(clock.bootMs()),
    bootId: bootId(),
  });
  const record = await openRecord({
    folder,
    clock,
    log: silentLog,
    newId: randomUUID,
    pulse,
    upkeep: 'inline',
  });
  try {
    const { damage } = record.health();
    const { faults } = await record.upkeep.verify();
    const spans = new Map<string, readonly Span[]>();
    const outages = new Map<string, readonly OutageHeld[]>();
    for (const id of serviceIds) {
      spans.set(id, await record.spans(id, always));
      const newestFirst = await record.outages(id, always);
      outages.set(
        id,
        await Promise.all(
          newestFirst
            .toReversed()
            .map(async (outage) => ({ outage, notices: await record.deliveriesOf(outage.id) })),
        ),
      );
    }
    const disturbances = await record.disturbances(always);
    return {
      faults: damage === null ? faults : [damage, ...faults],
      spans,
      outages,
      lastDisturbance: disturbances.at(-1)?.kind ?? null,
    };
  } finally {
    await record.close(pulse());
  }
}
