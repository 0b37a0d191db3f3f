/** Where the program's own files lie, in the sources and in the build. */

/** Two folders above this file; in the build, where it is part of another one, two above that: see `.ci/build.mjs`. */
export const programFolder = new URL('../../', import.meta.url);

/** The sources run as they are, in tests and benchmarks; otherwise what was built of them. */
export const isSource = import.meta.url.endsWith('.ts');

/** What belongs to the record and is loaded by its path. */
export function recordFile(name: string): URL {
  return new URL(`${isSource ? 'src/record/sqlite' : 'src/record'}/${name}`, programFolder);
}
