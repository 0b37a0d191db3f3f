/** Planned work as somebody on the command line asks for it, and what is said to them; with a daemon and without. */
import type { Clock } from './base/clock.ts';
import { RollcallError } from './base/errors.ts';
import { namesInSentenceCountMax, plannedWhyCharsMax } from './base/limits.ts';
import { cleanText } from './base/text.ts';
import type { PlannedWindow } from './base/values.ts';
import { listed } from './base/words.ts';
import { findAmong } from './config/find.ts';
import type { Config } from './config/resolve.ts';
import type { Planned } from './planned.ts';
import type { Planning } from './serve/local-planning.ts';
import { zoneOf } from './serve/zone.ts';

export function planningOf(
  planned: Pick<Planned, 'plan' | 'end'>,
  { board, ...config }: Pick<Config, 'board' | 'services' | 'jobs'>,
  clock: Clock,
): Planning {
  const services = [...config.services, ...config.jobs];
  const zone = zoneOf(board.timezone);
  const moment = (at: number) => zone.moment(at, clock.wallMs()).text;
  const namesOf = ({ serviceIds }: PlannedWindow): string => {
    if (serviceIds === null) return 'every service';
    const names = services.filter(({ id }) => serviceIds.includes(id)).map(({ name }) => name);
    return listed(names, namesInSentenceCountMax);
  };
  return {
    plan: async ({ lastsMs, why, ...words }) => {
      const { ids, complaint } = findAmong(services, words);
      if (complaint !== null) throw new RollcallError('usage', complaint);
      const from = clock.wallMs();
      const reason = cleanText(why ?? '', plannedWhyCharsMax);
      const window = await planned.plan({
        why: reason === '' ? null : reason,
        from,
        to: from + lastsMs,
        serviceIds: ids,
      });
      return `Planned until ${moment(window.to)} (${zone.name}): ${namesOf(window)}. \`rollcall plan --end\` ends it before.`;
    },
    end: async (id) => {
      const windows = await planned.end(id);
      const sentences = windows.map((window) => {
        const word = window.to > window.from ? 'Ended' : 'Taken back';
        return `${word}: ${window.name}, on ${namesOf(window)}.`;
      });
      return sentences.join('\n');
    },
  };
}
