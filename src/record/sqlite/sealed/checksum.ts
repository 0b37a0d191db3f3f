/** The checksum of what is sealed: it finds damage within a row, where SQLite does not look. */
import { crc32 } from 'node:zlib';

/** CRC-32 (ISO/IEC 8802-3, polynomial 0x04C11DB7) over all parts in turn, texts as UTF-8; 0…2³²−1. */
export function checksumOf(...parts: readonly (Uint8Array | string)[]): number {
  return parts.reduce<number>((sum, part) => crc32(part, sum), 0);
}
