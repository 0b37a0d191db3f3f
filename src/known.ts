/** "I know": an outage found by what people call it, and put on record as known. No reminders of it are sent any more. */
import type { Record } from './record/record.ts';

export type Known =
  | {
      readonly outageId: string;
      /** Of the service, as it is called here. */
      readonly name: string;
      /** The first time counts. */
      readonly at: number;
    }
  | { readonly complaint: string };

export interface KnownGiven {
  readonly record: Pick<Record, 'outage' | 'outages' | 'knownAt' | 'commit'>;
  readonly now: number;
  /** The services and jobs that are known by a name. */
  readonly named: readonly { readonly id: string; readonly name: string }[];
}

/** @param word id of an outage; or id or name of what has an open one */
export async function takeAsKnown(word: string, given: KnownGiven): Promise<Known> {
  const { record, now, named } = given;
  const outage = (await record.outage(word)) ?? (await openOutageOf(word, given));
  if (!outage) {
    return { complaint: `no outage \`${word}\`, and nothing of this id or name is down` };
  }
  const name = named.find(({ id }) => id === outage.serviceId)?.name ?? outage.serviceId;
  if (outage.restoredAt !== null) {
    return { complaint: `${name} is up again: the outage \`${outage.id}\` is over` };
  }
  await record.commit({ ...nothing, known: [{ outageId: outage.id, at: now }] });
  return { outageId: outage.id, name, at: (await record.knownAt(outage.id)) ?? now };
}

async function openOutageOf(word: string, { record, now, named }: KnownGiven) {
  const id = named.find(({ name }) => name === word)?.id ?? word;
  const found = await record.outages(id, { from: now, to: Number.MAX_SAFE_INTEGER });
  return found.find(({ restoredAt }) => restoredAt === null) ?? null;
}

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};
