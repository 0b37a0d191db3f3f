/** What somebody probably meant: the known word that is nearest to the written one. */

/**
 * Least number of single steps (insert, drop, change, swap two neighbours) from one text to the other.
 * Optimal string alignment: Damerau (1964) and Levenshtein (1966), no text is edited twice.
 */
function editDistance(from: string, to: string): number {
  const a = Array.from(from);
  const b = Array.from(to);
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, column) => column);
  for (let row = 1; row <= a.length; row++) {
    const current = [row];
    for (let column = 1; column <= b.length; column++) {
      const same = a[row - 1] === b[column - 1];
      let least = Math.min(
        cell(last, column) + 1,
        cell(current, column - 1) + 1,
        cell(last, column - 1) + (same ? 0 : 1),
      );
      const swapped = a[row - 1] === b[column - 2] && a[row - 2] === b[column - 1];
      if (row > 1 && column > 1 && swapped)
        least = Math.min(least, cell(beforeLast, column - 2) + 1);
      current.push(least);
    }
    beforeLast = last;
    last = current;
  }
  return cell(last, b.length);
}

/**
 * The candidate nearest to `word`, or null when none is near enough to be meant: a third of the letters may differ,
 * three at most. Case, spaces, `-` and `_` do not count. Of equals the first.
 */
export function nearest(word: string, candidates: Iterable<string>): string | null {
  const wanted = bare(word);
  // A long text is no misspelt key, and the distance costs the product of both lengths.
  if (wanted === '' || wanted.length > wordCharsMax) return null;
  const allowed = Math.min(3, Math.floor(wanted.length / 3));
  let best: { candidate: string; distance: number } | null = null;
  for (const candidate of candidates) {
    const known = bare(candidate);
    if (Math.abs(known.length - wanted.length) > allowed) continue;
    const distance = editDistance(wanted, known);
    if (distance <= allowed && (best === null || distance < best.distance)) {
      best = { candidate, distance };
    }
  }
  return best?.candidate ?? null;
}

const wordCharsMax = 80;

/** Equal but for case, spaces, `-` and `_`. */
export function sameWord(a: string, b: string): boolean {
  return bare(a) === bare(b);
}

function bare(word: string): string {
  return word.toLowerCase().replace(/[\s_-]+/g, '');
}

function cell(row: readonly number[], column: number): number {
  return row[column] ?? Number.POSITIVE_INFINITY;
}
