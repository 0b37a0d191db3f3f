/**
 * Sealed days lie in volumes, one behind the other, and volumes in pieces. Two pieces leave next to nothing of a page of
 * the file free, which rows of days of any length would not do; and a day is read without the rest of its volume.
 */

/**
 * Of a new file. Each group of observations costs a few pages, whatever is on them: with half of the usual size a quarter
 * less is written in a day.
 */
export const pageBytes = 2_048;

/**
 * Pages that a connection holds in memory. A read of the record goes through it once, and the system's own cache has what is
 * read again: the driver's 16 MB would be filled by the first look through the file, and stay.
 */
export const pageCacheKib = 2_048;

/** Half a page, less what SQLite adds to each row (sqlite.org/fileformat2.html, 1.6 and 2.1). */
const pieceBytes = 1_004;
/** Bases of the keys, see the migration. */
const daysInVolume = 256;
const piecesInVolume = 2 ** 20;

type Keys = readonly [first: number, last: number];

/** Where a sealed day lies. */
export interface Location {
  /** Of the day. */
  readonly key: number;
  readonly firstByte: number;
  readonly bytesCount: number;
}

/** The volume after all volumes, if this is the greatest key of a day. */
export function volumeAfter(dayKey: number): number {
  return volumeOf(dayKey) + 1;
}

export function volumeOf(dayKey: number): number {
  return Math.floor(dayKey / daysInVolume);
}

export function dayKeysOf(volume: number): Keys {
  return [volume * daysInVolume, (volume + 1) * daysInVolume - 1];
}

export function pieceKeysOf(volume: number): Keys {
  return [volume * piecesInVolume, (volume + 1) * piecesInVolume - 1];
}

/** The first bytes of a day: in which pieces they are, and how many bytes of others stand before them there. */
export function piecesWith(
  { key, firstByte, bytesCount }: Location,
  countMax: number,
): { readonly keys: Keys; readonly skip: number; readonly count: number } {
  const count = Math.min(bytesCount, countMax);
  const [first] = pieceKeysOf(volumeOf(key));
  const firstPiece = Math.floor(firstByte / pieceBytes);
  const lastPiece = Math.floor((firstByte + Math.max(count, 1) - 1) / pieceBytes);
  return {
    keys: [first + firstPiece, first + lastPiece],
    skip: firstByte - firstPiece * pieceBytes,
    count,
  };
}

interface Bound {
  readonly locations: readonly Location[];
  readonly pieces: readonly { readonly key: number; readonly bytes: Uint8Array }[];
}

/** Lays days into a volume: at most 256, with at most a gibibyte. */
export function bound(volume: number, days: readonly Uint8Array[]): Bound {
  const bytes = Buffer.concat(days);
  if (days.length > daysInVolume || bytes.length > piecesInVolume * pieceBytes) {
    throw new RangeError(`A volume does not hold ${days.length} days of ${bytes.length} bytes.`);
  }
  const [[firstDay], [firstPiece]] = [dayKeysOf(volume), pieceKeysOf(volume)];
  let end = 0;
  const locations = days.map((day, nth) => {
    const firstByte = end;
    end += day.length;
    return { key: firstDay + nth, firstByte, bytesCount: day.length };
  });
  const pieces = Array.from({ length: Math.ceil(bytes.length / pieceBytes) }, (_, nth) => ({
    key: firstPiece + nth,
    bytes: bytes.subarray(nth * pieceBytes, (nth + 1) * pieceBytes),
  }));
  return { locations, pieces };
}
