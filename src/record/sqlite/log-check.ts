/**
 * Looks through the log beside a database (`-wal`) before SQLite does. Of a log with a damaged frame SQLite takes what
 * stands before it and is silent about the rest: right after a power cut, which can tear the last transaction only, since
 * each is on the disk before the next begins; wrong where whole transactions follow the damage.
 * The format: sqlite.org/fileformat2.html, 4 (the write-ahead log).
 */
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { counted } from '../../base/words.ts';

const headerBytes = 32;
const frameHeaderBytes = 24;
/** A checksum in words of the one or of the other order. */
const magic = { little: 0x377f0682, big: 0x377f0683 } as const;

/** A sentence; null: there is no log, or nothing is wrong with it. */
export function logFault(path: string): string | null {
  let file: number;
  try {
    file = openSync(`${path}-wal`, 'r');
  } catch {
    return null;
  }
  try {
    const lost = commitsBehindDamage(file);
    // The last transaction may be torn by a power cut; then it never was.
    return lost < 2
      ? null
      : `Its log is damaged: ${counted(lost, 'transaction')} in it cannot be read.`;
  } finally {
    closeSync(file);
  }
}

type Sum = readonly [number, number];

/** Ends of transactions that belong to this log and stand at or behind a frame whose checksum does not hold. */
function commitsBehindDamage(file: number): number {
  const { size } = fstatSync(file);
  const header = Buffer.alloc(headerBytes);
  if (size < headerBytes || readSync(file, header, 0, headerBytes, 0) < headerBytes) return 0;
  const isBig = header.readUInt32BE(0) === magic.big;
  const pageBytes = header.readUInt32BE(8);
  const known = isBig || header.readUInt32BE(0) === magic.little;
  if (!known || pageBytes < 512 || pageBytes > 65_536) return damagedHeader(file, size);
  let sum = summed([0, 0], header.subarray(0, 24), isBig);
  if (!holds(sum, header, 24)) return damagedHeader(file, size);
  let whole = true;
  const frame = Buffer.alloc(frameHeaderBytes + pageBytes);
  let lost = 0;
  for (let at = headerBytes; at + frame.length <= size; at += frame.length) {
    readSync(file, frame, 0, frame.length, at);
    // What is left from before the log was begun anew differs in both salts; damage changed one of them.
    const salts = [frame.compare(header, 16, 20, 8, 12), frame.compare(header, 20, 24, 12, 16)];
    const ours = salts.includes(0);
    if (whole && salts.every((difference) => difference === 0)) {
      sum = summed(sum, frame.subarray(0, 8), isBig);
      sum = summed(sum, frame.subarray(frameHeaderBytes), isBig);
      whole = holds(sum, frame, 16);
    } else whole = false;
    if (!whole && ours && frame.readUInt32BE(4) !== 0) lost++;
  }
  return lost;
}

/** A header that is none, over frames: SQLite takes nothing of such a log. It fits a sector, so no power cut tears it. */
function damagedHeader(file: number, size: number): number {
  const rest = Buffer.alloc(Math.min(size - headerBytes, frameHeaderBytes));
  readSync(file, rest, 0, rest.length, headerBytes);
  return rest.some((byte) => byte !== 0) ? 2 : 0;
}

/** The checksum goes on from one part to the next. Both are made of 32-bit words. */
function summed([first, second]: Sum, bytes: Uint8Array, isBig: boolean): Sum {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let [s0, s1] = [first, second];
  for (let at = 0; at + 8 <= bytes.length; at += 8) {
    s0 = (s0 + view.getUint32(at, !isBig) + s1) >>> 0;
    s1 = (s1 + view.getUint32(at + 4, !isBig) + s0) >>> 0;
  }
  return [s0, s1];
}

function holds([first, second]: Sum, bytes: Buffer, at: number): boolean {
  return bytes.readUInt32BE(at) === first && bytes.readUInt32BE(at + 4) === second;
}
