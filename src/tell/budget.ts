/** The notice that a budget will not last. When it is due, `uptime/burning.ts` says. */
import type { ServiceCard } from '../base/values.ts';
import type { Notice } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import { serviceData } from './notice-data.ts';
import { say } from './sentences.ts';

export interface BurningBudget {
  readonly card: ServiceCard;
  /** 0…1 */
  readonly objective: number;
  /** Of thirty days. */
  readonly allowedMs: number;
  /** In the last thirty days. */
  readonly usedMs: number;
  /** In which it was used, and the day of the first of them, as `Tuesday`. */
  readonly outagesCount: number;
  readonly since: string;
  /** How many times as fast as the objective allows, over the long and the short window. */
  readonly burnRates: { readonly longMs: number; readonly long: number; readonly short: number };
}

/** Null: no channel carries it. */
export function budgetNotice(
  burning: BurningBudget,
  given: {
    readonly channels: readonly ChannelChoice[];
    readonly at: number;
    readonly newId: () => string;
  },
): Notice | null {
  const { card, objective, allowedMs, usedMs, outagesCount, since, burnRates } = burning;
  const { at, newId } = given;
  const channels = given.channels
    .filter((channel) => takes(channel, card, 'budget'))
    .map(({ name }) => name);
  if (channels.length === 0) return null;
  return {
    id: newId(),
    type: 'rollcall.budget.burning',
    at,
    serviceId: card.id,
    outageId: null,
    notBefore: at,
    data: {
      summary: say({
        kind: 'budget',
        ...{ name: card.name, objective, usedMs, allowedMs, outagesCount, since },
      }),
      service: serviceData(card),
      budget: { objective, allowedMs, usedMs, leftMs: allowedMs - usedMs, outages: outagesCount },
      burning: {
        windowMs: burnRates.longMs,
        rate: burnRates.long,
        shortRate: burnRates.short,
      },
    },
    channels,
  };
}
