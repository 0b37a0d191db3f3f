/** Test projects, each with its own budget of time: the fast ones first to run, the real servers apart. */
import { defineConfig } from 'vitest/config';

const root = new URL('..', import.meta.url).pathname;

export default defineConfig({
  root,
  test: {
    projects: [
      {
        extends: true,
        test: {
          name: 'units',
          include: ['tests/**/*.test.{ts,tsx}'],
          exclude: ['tests/{peers,browser,daemon,simulate,soak}/**'],
          testTimeout: 90_000,
          // Threads and child processes that tests start read the sources as they are.
          execArgv: ['--import', new URL('support/typescript.mjs', import.meta.url).href],
        },
      },
      {
        extends: true,
        // Simulated worlds: a whole process's worth of computing each.
        test: {
          name: 'simulate',
          include: ['tests/simulate/**/*.test.ts'],
          testTimeout: 400_000,
          hookTimeout: 400_000,
        },
      },
      {
        extends: true,
        test: {
          name: 'peers',
          include: ['tests/peers/**/*.test.ts'],
          testTimeout: 60_000,
          hookTimeout: 120_000,
          fileParallelism: false,
        },
      },
      {
        extends: true,
        test: {
          name: 'daemon',
          include: ['tests/daemon/**/*.test.ts'],
          testTimeout: 120_000,
          hookTimeout: 120_000,
          fileParallelism: false,
        },
      },
      {
        extends: true,
        test: {
          name: 'browser',
          include: ['tests/browser/**/*.test.{ts,tsx}'],
          testTimeout: 60_000,
          hookTimeout: 120_000,
          fileParallelism: false,
        },
      },
      {
        extends: true,
        // Long runs: `npm run soak`, never part of `verify`.
        test: { name: 'soak', include: ['tests/soak/**/*.test.ts'], fileParallelism: false },
      },
    ],
  },
});
