/**
 * Lets a process run the sources as they are: `node --import tests/support/typescript.mjs some.ts`. Node 20 reads no
 * TypeScript itself. Its worker threads are given the same argument, and so read it too.
 */
import { register } from 'node:module';

register('./typescript-hooks.mjs', import.meta.url);
