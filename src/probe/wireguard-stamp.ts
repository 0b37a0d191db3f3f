/**
 * The timestamp of an initiation. An endpoint drops every one that is not greater than the last that it saw from this key
 * (WireGuard paper, §5.1), so a clock that is set back must not make the next probe a replay: the last stamp is kept.
 */
import { createHash } from 'node:crypto';
import type { Clock } from '../base/clock.ts';
import type { ProbeKeep } from './probe.ts';

// TAI64N (libtai, "External TAI64N format"): 8 bytes of seconds, big-endian, 2^62 being 1970 TAI, and 4 of nanoseconds.
// The ten seconds are the fixed offset of TAI that the reference implementations use; no leap seconds are counted.
const epochSecond = 0x4000_0000_0000_000an;
/** The reference implementations blank the low 24 bits of the nanoseconds, so that a stamp does not tell the exact clock. */
const stepNs = 1 << 24;
const secondNs = 1_000_000_000;

/** Newest stamp sent by this process: guards where two probes share a key, and where the record cannot be written. */
const sent = new Map<string, string>();

interface Source {
  readonly clock: Clock;
  readonly keep: ProbeKeep;
}

/** 12 bytes, greater than every stamp given out for this key before. */
export async function nextStamp(publicKey: Uint8Array, { clock, keep }: Source): Promise<Buffer> {
  const id = `wireguard.${createHash('sha256').update(publicKey).digest('hex').slice(0, 32)}`;
  const kept = await keep.read(id).catch(() => null);
  // No pause between here and `set`: another probe with this key may wait for its own turn.
  const last = [kept ?? '', sent.get(id) ?? ''].filter(isStamp).sort().at(-1) ?? null;
  const stamp = stampAfter(clock.wallMs(), last);
  sent.set(id, stamp);
  // The watch goes on with a record that cannot be written.
  await keep.write(id, stamp).catch(() => {});
  return Buffer.from(stamp, 'hex');
}

/** The later of now and the first stamp after `last`; both as 24 hex digits, whose order is that of the stamps. */
export function stampAfter(wallMs: number, last: string | null): string {
  const now = written(
    epochSecond + BigInt(Math.floor(wallMs / 1_000)),
    (((wallMs % 1_000) + 1_000) % 1_000) * 1_000_000,
  );
  if (last === null || now > last) return now;
  const seconds = BigInt(`0x${last.slice(0, 16)}`);
  const ns = Number.parseInt(last.slice(16), 16) + stepNs;
  return ns < secondNs ? written(seconds, ns) : written(seconds + 1n, 0);
}

function written(seconds: bigint, ns: number): string {
  const whitened = Math.floor(ns / stepNs) * stepNs;
  return seconds.toString(16).padStart(16, '0') + whitened.toString(16).padStart(8, '0');
}

/** What was kept may be damaged; it must not stop the probe. */
function isStamp(text: string): boolean {
  return /^400000[0-9a-f]{18}$/.test(text);
}
