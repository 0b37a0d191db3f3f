/** Which way an answer is compressed that is kept so: RFC 9110 §12.5.3. */
import { expect, test } from 'vitest';
import { encodingWanted } from '../../src/serve/compression.ts';

test.each([
  [undefined, null],
  ['', null],
  ['identity', null],
  ['gzip, deflate, br, zstd', 'br'],
  ['gzip, deflate', 'gzip'],
  ['GZIP', 'gzip'],
  ['x-gzip', 'gzip'],
  ['*', 'br'],
  ['br;q=0, *', 'gzip'],
  ['*;q=0', null],
  ['br;q=0.5, gzip;q=0.8', 'gzip'],
  ['br; q=0.8 , gzip; q=0.8', 'br'],
  // Examples of the RFC.
  ['compress, gzip', 'gzip'],
  ['compress;q=0.5, gzip;q=1.0', 'gzip'],
  ['gzip;q=1.0, identity; q=0.5, *;q=0', 'gzip'],
  ['identity;q=1, gzip;q=0.5', null],
  ['gzip;q=high', 'gzip'],
])('%s', (field, wanted) => {
  expect(encodingWanted(field)).toBe(wanted);
});
