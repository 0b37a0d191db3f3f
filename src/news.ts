/**
 * What is worth telling beside the changes of state: certificates that near their end, budgets that will not last, what
 * services say of themselves, and the digests. What was told is remembered in the record, with the notice that tells it:
 * a restart tells nothing twice, and loses nothing.
 */
import { messageOf } from './base/errors.ts';
import { budgetsOf } from './news-budgets.ts';
import { lookAtCertificates } from './news-certificates.ts';
import { digestsOf } from './news-digests.ts';
import { listenForFacts } from './news-facts.ts';
import type { NewsGiven } from './news-post.ts';

const minuteMs = 60_000;
/** Minutes from one look to the next. What shows the same certificate within an hour is told as one. */
const everyMinutes = { certificates: 60, budgets: 5, digests: 1 } as const;

/** Looks every minute until stopped; the first time when the first answers are in. */
export function tellNews(given: NewsGiven): { stop(): Promise<void> } {
  const { clock, log } = given;
  const facts = listenForFacts(given);
  const budgets = budgetsOf(given);
  const digests = digestsOf(given);
  const looks = [
    { what: 'certificates', look: () => lookAtCertificates(given) },
    { what: 'budgets', look: budgets.look },
    { what: 'digests', look: digests.look },
  ] as const;
  let minutes = 0;
  let stopped = false;
  let running: Promise<void> = Promise.resolve();
  let alarm = clock.after(minuteMs, next);

  async function look(): Promise<void> {
    for (const { what, look: lookNow } of looks) {
      if (stopped || minutes % everyMinutes[what] !== 0) continue;
      try {
        await lookNow();
      } catch (thrown) {
        log.error({ what, error: messageOf(thrown) }, 'news could not be looked for');
      }
    }
    minutes += 1;
  }
  function next(): void {
    running = look().finally(() => {
      if (!stopped) alarm = clock.after(minuteMs, next);
    });
  }
  return {
    stop: async () => {
      stopped = true;
      alarm.cancel();
      facts.stop();
      budgets.stop();
      await running;
    },
  };
}
