/**
 * How the random worlds are drawn: from a fixed seed and as often as is said, so that a run repeats itself; from another
 * seed, or more often, where the environment says so (`DEVELOPERS.md`).
 */
import fc from 'fast-check';

/** 2026-11-25, for no better reason than that one is needed. */
const seed = Number(process.env['ROLLCALL_SIMULATE_SEED'] ?? 20_261_125);
const times = Number(process.env['ROLLCALL_SIMULATE_TIMES'] ?? 1);

/** Where a world fails, the message has the seed and the path by which it is found again, and the smallest such world. */
export async function inWorlds<World>(
  worlds: fc.Arbitrary<World>,
  numRuns: number,
  holds: (world: World) => Promise<void>,
): Promise<void> {
  const path = process.env['ROLLCALL_SIMULATE_PATH'];
  await fc.assert(fc.asyncProperty(worlds, holds), {
    seed,
    numRuns: Math.ceil(numRuns * times),
    // The smallest world found by then has to do.
    interruptAfterTimeLimit: 380_000 * Math.max(times, 1),
    markInterruptAsFailure: true,
    ...(path === undefined ? {} : { path }),
  });
}
