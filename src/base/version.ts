/** The version of this program, from its package file. */
import { readFileSync } from 'node:fs';
import { programFolder } from './files.ts';

const text = readFileSync(new URL('package.json', programFolder), 'utf8');

export const version = (JSON.parse(text) as { readonly version: string }).version;
