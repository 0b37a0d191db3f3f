/**
 * Which of the things that a service says of itself are news when they change, and what is then told. Only these: what
 * moves by itself (clocks, ages, days left, addresses, banners) is none. Pure.
 */
import { cleanText } from '../base/text.ts';
import type { Facts, ServiceCard } from '../base/values.ts';
import type { Notice } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import type { SaidChange } from './news-sentences.ts';
import { serviceData } from './notice-data.ts';
import { say } from './sentences.ts';

/** The facts that are told, by the name that the probes give them, and what people call them. */
export const toldFacts = {
  serverVersion: 'version',
  flavour: 'kind of server',
  server: 'server software',
  role: 'role',
  certificateIssuer: 'issuer of the certificate',
  certificateEndsAt: 'end of the certificate',
} as const;

type ToldFact = keyof typeof toldFacts;
const toldNames = Object.keys(toldFacts) as readonly ToldFact[];

/** Values by name of what is told; what an answer did not say is not in it. */
export type KnownFacts = { readonly [name in ToldFact]?: string };

export interface FactChange {
  readonly fact: ToldFact;
  readonly before: string;
  readonly after: string;
}

export function knownIn(facts: Facts): KnownFacts {
  const known: { [name in ToldFact]?: string } = {};
  for (const name of toldNames) {
    const value = facts[name];
    if (value !== undefined) known[name] = String(value);
  }
  return known;
}

/** Whether an answer says the same: what each answer is asked, so that nothing is made on the way. */
export function saysSame(known: KnownFacts, facts: Facts): boolean {
  for (const name of toldNames) {
    const value = facts[name];
    if (value !== undefined && String(value) !== known[name]) return false;
  }
  return true;
}

/** What became another. What was not known before, or is not said now, is no change. */
export function changesIn(before: KnownFacts, after: KnownFacts): readonly FactChange[] {
  return toldNames.flatMap((fact) => {
    const [was, is] = [before[fact], after[fact]];
    return was === undefined || is === undefined || was === is
      ? []
      : [{ fact, before: was, after: is }];
  });
}

/** What was known last of a service, as the record keeps it, and when a change of it was told; null: nothing readable. */
export interface FactsTold {
  readonly known: KnownFacts;
  readonly toldAt: number | null;
}

export function factsToldIn(words: string | null): FactsTold | null {
  if (words === null) return null;
  try {
    const told: unknown = JSON.parse(words);
    if (typeof told !== 'object' || told === null || !('known' in told)) return null;
    const { known } = told;
    if (typeof known !== 'object' || known === null) return null;
    const toldAt = 'toldAt' in told && typeof told.toldAt === 'number' ? told.toldAt : null;
    return { known: knownIn(Object.fromEntries(Object.entries(known))), toldAt };
  } catch {
    return null;
  }
}

/** Null: no channel asked for it. */
export function factsNotice(
  card: ServiceCard,
  changes: readonly FactChange[],
  given: {
    readonly channels: readonly ChannelChoice[];
    readonly at: number;
    readonly newId: () => string;
    readonly sayValue: (fact: ToldFact, value: string) => string;
  },
): Notice | null {
  const { at, newId, sayValue } = given;
  const channels = given.channels
    .filter((channel) => takes(channel, card, 'facts'))
    .map(({ name }) => name);
  if (channels.length === 0) return null;
  const said = changes.map(({ fact, before, after }): SaidChange => {
    const [was, is] = [before, after].map((value) => cleanText(sayValue(fact, value)));
    return { word: toldFacts[fact], before: was ?? '', after: is ?? '' };
  });
  return {
    id: newId(),
    type: 'rollcall.facts.changed',
    at,
    serviceId: card.id,
    outageId: null,
    notBefore: at,
    data: {
      summary: say({ kind: 'facts', name: card.name, changes: said }),
      service: serviceData(card),
      changes,
    },
    channels,
  };
}
