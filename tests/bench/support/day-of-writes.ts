/**
 * One day of thirty services at 30 s, lived by the whole watch with its chores under a simulated clock, on the real disk, in
 * a process of its own: its writes are counted by the kernel. Says how many bytes.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { silentLog } from '../../../src/base/log.ts';
import { openRecord } from '../../../src/record/sqlite/open.ts';
import { courseOf } from '../../simulate/course.ts';
import { allChores, household } from '../../simulate/household.ts';
import { pulseOf } from '../../simulate/shelf.ts';
import { writtenBytes } from './processes.ts';

const hourMs = 3_600_000;
const everyMs = 30_000;
const folder = mkdtempSync(join(tmpdir(), 'rollcall-bench-'));

const services = Array.from({ length: 30 }, (_, nth) => ({
  id: `shelf-${nth}`,
  everyMs,
  timeoutMs: 5_000,
  recheckMs: 5_000,
  confirm: 2,
  restore: 1,
  hangs: false,
  unanswered: 'down' as const,
  silent: false,
  needs: [],
  through: [],
  // One outage of twenty minutes for every third of them.
  course: courseOf([
    { lastsMs: 30 * hourMs + nth * 600_000, condition: 'good' },
    { lastsMs: nth % 3 === 0 ? 1_200_000 : 0, condition: 'bad' },
    { lastsMs: 48 * hourMs, condition: 'good' },
  ]),
  latency: { medianMs: 5 + nth, sigma: 0.3 },
  loss: 0.0005,
}));

const house = household({
  services,
  seed: 1,
  shelf: {
    open: (clock) =>
      openRecord({
        folder,
        clock,
        log: silentLog,
        newId: () => '5c2f0f0e-1111-4111-8111-111111111111',
        pulse: () => pulseOf(clock),
        upkeep: 'inline',
      }),
    cutOff: () => Promise.reject(new Error('not in this world')),
    breakWrites: () => {},
    end: () => {},
  },
  channels: [{ name: 'phone', only: null }],
  chores: allChores,
});
await house.begin();
// A day first, so that there is one to be put away.
await house.live(24 * hourMs);
const before = writtenBytes(process.pid);
await house.live(24 * hourMs);
const bytes = writtenBytes(process.pid) - before;
await house.end();
rmSync(folder, { recursive: true, force: true });
process.send?.(bytes);
