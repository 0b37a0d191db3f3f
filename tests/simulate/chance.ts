/** Chance that can be repeated: random numbers from a seed, and the distributions that the world draws from. */

export interface Chance {
  /** In [0, 1). */
  next(): number;
  /** With this mean: the waiting time of a process without memory. */
  exponential(mean: number): number;
  /** Its logarithm is normal: what latencies look like. `sigma` is the spread of the logarithm. */
  lognormal(median: number, sigma: number): number;
}

/** Different names make independent sequences of one seed. */
export function chance(seed: number, name: string): Chance {
  const next = sfc32(seed, name);
  return {
    next,
    exponential: (mean) => -mean * Math.log(1 - next()),
    lognormal: (median, sigma) => median * Math.exp(sigma * normal(next)),
  };
}

/** Box & Muller, Ann. Math. Stat. 29 (1958) 610–611; the second of each pair is not used. */
function normal(next: () => number): number {
  return Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
}

/** The "small fast chaotic" generator of PractRand in its form with 32-bit words, from memory: three words and a counter. */
function sfc32(seed: number, name: string): () => number {
  let a = seed | 0;
  let b = hashOf(name);
  let c = 0x9e3779b9;
  let counter = 1;
  const next = (): number => {
    const sum = (((a + b) | 0) + counter) | 0;
    counter = (counter + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = (((c << 21) | (c >>> 11)) + sum) | 0;
    return (sum >>> 0) / 2 ** 32;
  };
  for (let round = 0; round < 12; round++) next();
  return next;
}

/** FNV-1a, from memory. */
function hashOf(text: string): number {
  let hash = 0x811c9dc5;
  for (const char of text) hash = Math.imul(hash ^ (char.codePointAt(0) ?? 0), 0x01000193);
  return hash | 0;
}
