/**
 * Hears each answer and tells where a service says something else of itself than before, if a channel asked for that. A
 * new word counts when it was said twice in a row, and one service makes one such message in an hour: behind one name
 * there may be several servers, each with its own.
 */
import { messageOf } from './base/errors.ts';
import type { Happening } from './base/happenings.ts';
import { parseInstant } from './base/instants.ts';
import type { ServiceCard } from './base/values.ts';
import { type NewsGiven, post } from './news-post.ts';
import { takes } from './tell/channel.ts';
import {
  changesIn,
  type FactsTold,
  factsNotice,
  factsToldIn,
  type KnownFacts,
  knownIn,
  saysSame,
} from './tell/facts.ts';

const restMs = 3_600_000;

interface Watched {
  readonly card: ServiceCard;
  /** Null: the record was not asked yet. */
  told: FactsTold | null;
  /** Said once and not the time before. */
  heard: KnownFacts | null;
  isBusy: boolean;
}

export function listenForFacts(given: NewsGiven): { stop(): void } {
  const { cards, channels, listen, log } = given;
  const watched = new Map(
    cards
      .filter((card) => channels.some((channel) => takes(channel, card, 'facts')))
      .map((card): [string, Watched] => [
        card.id,
        { card, told: null, heard: null, isBusy: false },
      ]),
  );
  if (watched.size === 0) return { stop: () => {} };
  return {
    stop: listen(({ serviceId, observation }) => {
      const one = watched.get(serviceId);
      if (one === undefined || one.isBusy || !isAnswer(observation)) return;
      if (one.told !== null && saysSame(one.told.known, observation.facts)) {
        one.heard = null;
        return;
      }
      one.isBusy = true;
      hear(given, one, observation)
        .catch((thrown: unknown) =>
          log.error({ service: serviceId, error: messageOf(thrown) }, 'facts could not be told'),
        )
        .finally(() => {
          one.isBusy = false;
        });
    }),
  };
}

/** What stands in front of a service that is gone may answer in its place, and says of itself what it likes. */
function isAnswer({ outcome }: Happening['observation']): boolean {
  return outcome === 'answered' || outcome === 'limited';
}

async function hear(
  given: NewsGiven,
  one: Watched,
  { at, facts }: Happening['observation'],
): Promise<void> {
  const { record } = given;
  const name = `told:facts ${one.card.id}`;
  one.told ??= factsToldIn(await record.kept(name)) ?? { known: {}, toldAt: null };
  const { known, toldAt } = one.told;
  const said = knownIn(facts);
  const changes = changesIn(known, said);
  const isRepeated = one.heard !== null && saysSame(one.heard, facts);
  one.heard = said;
  // Something that was never said before is known from now on, and no news.
  if (changes.length === 0) return saysSame(known, facts) ? undefined : learn(given, one, said);
  const isResting = toldAt !== null && at >= toldAt && at - toldAt < restMs;
  if (!isRepeated || isResting) return;
  const notice = factsNotice(one.card, changes, {
    channels: given.channels,
    at: given.clock.wallMs(),
    newId: given.newId,
    sayValue: (_, value) => sayValue(value, given.sayInstant),
  });
  one.told = { known: { ...known, ...said }, toldAt: at };
  await post(given, notice ? [notice] : [], [{ name, words: JSON.stringify(one.told) }]);
}

async function learn(given: NewsGiven, one: Watched, said: KnownFacts): Promise<void> {
  const { known = {}, toldAt = null } = one.told ?? {};
  one.told = { known: { ...known, ...said }, toldAt };
  const words = JSON.stringify(one.told);
  await post(given, [], [{ name: `told:facts ${one.card.id}`, words }]);
}

/** An instant stands on the owner's clock. */
function sayValue(value: string, sayInstant: NewsGiven['sayInstant']): string {
  const at = parseInstant(value);
  return at === null ? value : sayInstant(at);
}
