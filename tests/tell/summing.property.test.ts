/**
 * Days of a channel that is quiet at night, with a receiver in moods and a daemon that is restarted: nothing is lost,
 * nothing is said in the quiet hours that is not urgent, and of one outage nothing comes out of order. What a receiver
 * refuses for more than a day is given up, and only that.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { silentLog } from '../../src/base/log.ts';
import type { Notice } from '../../src/record/record.ts';
import { startDelivery } from '../../src/tell/delivery.ts';
import { quietAt } from '../../src/tell/quiet.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { bad, good } from '../support/outbox.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { fourOClock, notice } from '../support/telling.ts';

const minute = 60_000;
const dayMinutes = 24 * 60;
const zone = 'Europe/Dublin';
const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };

const happening = fc.record({
  atMinute: fc.integer({ min: 0, max: 2 * dayMinutes }),
  what: fc.oneof(
    { weight: 6, arbitrary: fc.constantFrom('shop', 'nas', 'wiki') },
    fc.constantFrom('restart', 'moody', 'well'),
  ),
});
const minuteOfDay = fc.integer({ min: 0, max: dayMinutes - 1 });

interface Said {
  readonly at: number;
  readonly notice: Notice;
  readonly taken: boolean;
}

test('nothing is lost, said at night, or out of order', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.array(happening, { minLength: 1, maxLength: 25 }),
      minuteOfDay,
      minuteOfDay,
      async (happenings, from, to) => {
        fc.pre(from !== to);
        const quiet = { from, to };
        const clock = simulatedClock({ wallMs: fourOClock, between: 'promises' });
        const record = memoryRecord();
        const said: Said[] = [];
        let isWell = true;
        let sumsCount = 0;
        const start = () =>
          startDelivery({
            record,
            channels: [{ name: 'phone', quiet }],
            clock,
            log: silentLog,
            random: () => 0.5,
            send: async (_, one) => {
              said.push({ at: clock.wallMs(), notice: one, taken: isWell });
              return isWell ? good : bad;
            },
            ways: {
              ...{ zone, urgentIds: ['nas'], sayInstant: String },
              newId: () => `sum${sumsCount++}`,
            },
          });
        let delivery = start();
        const made: Notice[] = [];
        const tell = async (serviceId: string) => {
          const at = clock.wallMs();
          const outageId = `${serviceId}.1`;
          const one = notice(`n${made.length}`, { serviceId, outageId, at, notBefore: at });
          made.push(one);
          await record.commit({ ...nothing, notices: [{ kind: 'add', notice: one }] });
          delivery.wake();
        };
        for (const { atMinute, what } of happenings.toSorted((a, b) => a.atMinute - b.atMinute)) {
          await clock.advance(Math.max(fourOClock + atMinute * minute - clock.wallMs(), 0));
          if (what === 'moody') isWell = false;
          else if (what === 'well') isWell = true;
          else if (what === 'restart') {
            await delivery.stop();
            delivery = start();
          } else await tell(what);
        }
        isWell = true;
        await clock.advance(2 * dayMinutes * minute);
        await delivery.stop();

        const expectGivenUp = async (noticeId: string) => {
          const report = await record.delivery(noticeId, 'phone');
          expect(report?.state).toBe('dead');
          const tries = report?.attempts.map(({ at }) => at) ?? [];
          expect((tries.at(-1) ?? 0) - (tries[0] ?? 0)).toBeGreaterThanOrEqual(dayMinutes * minute);
        };
        expect(await record.nextDeliveryAt()).toBeNull();
        for (const { at, notice: one } of said) {
          const isQuiet = quietAt(at, quiet, zone).isQuiet;
          if (isQuiet) expect(one.serviceId).toBe('nas');
        }
        // Where it was heard of each: by itself, or by the sum that it is in.
        const heardAt = new Map<string, number>();
        said.forEach(({ notice: { id }, taken }, place) => {
          if (taken) heardAt.set(id, place);
        });
        for (const service of ['shop', 'nas', 'wiki']) {
          const reports = await record.deliveriesOf(`${service}.1`);
          const places: number[] = [];
          for (const { notice: one, foldedInto } of reports) {
            const place = heardAt.get(foldedInto ?? one.id);
            if (place === undefined) await expectGivenUp(foldedInto ?? one.id);
            else places.push(place);
          }
          expect(places).toEqual(places.toSorted((a, b) => a - b));
        }
      },
    ),
    { numRuns: 30 },
  );
}, 60_000);
