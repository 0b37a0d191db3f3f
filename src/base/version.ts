/** The version of this program, from its package file, which lies two folders up in the sources and in the build. */
import { readFileSync } from 'node:fs';

const text = readFileSync(new URL('../../package.json', import.meta.url), 'utf8');

export const version = (JSON.parse(text) as { readonly version: string }).version;
