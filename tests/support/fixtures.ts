/** Recorded bytes: first line the source, then hex with a bar at each border between chunks; white space does not count. */
import { readFileSync } from 'node:fs';

/** The chunks of `tests/fixtures/<protocol>/<name>.txt`. */
export function fixture(protocol: string, name: string): readonly Buffer[] {
  const url = new URL(`../fixtures/${protocol}/${name}.txt`, import.meta.url);
  const [source, ...lines] = readFileSync(url, 'utf8').split('\n');
  if (!source?.match(/[a-z]{3}/)) throw new Error(`${name}: the first line must name the source`);
  return lines
    .join('')
    .replaceAll(/\s/g, '')
    .split('|')
    .map((digits) => {
      if (!/^(?:[0-9a-f]{2})+$/.test(digits)) throw new Error(`${name}: not hex: ${digits}`);
      return Buffer.from(digits, 'hex');
    });
}
