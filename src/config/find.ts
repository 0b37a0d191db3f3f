/** Services by what people call them: an id or a name. */
import { nearest } from './nearest.ts';

interface Named {
  readonly id: string;
  readonly name: string;
}

export interface Found<Service> {
  /** In the order of the configuration; all of them where no word is given. */
  readonly services: readonly Service[];
  /** What is wrong with the words, for a person; null: nothing. */
  readonly complaint: string | null;
}

export function findServices<Service extends Named>(
  services: readonly Service[],
  words: readonly string[],
): Found<Service> {
  const isCalled = ({ id, name }: Named, word: string) => id === word || name === word;
  const unknown = words.filter((word) => !services.some((service) => isCalled(service, word)));
  return {
    services:
      words.length === 0
        ? services
        : services.filter((service) => words.some((word) => isCalled(service, word))),
    complaint:
      unknown.length === 0 ? null : unknown.map((word) => sayUnknown(word, services)).join('; '),
  };
}

/** Ids of what is named by services and by groups together; null where nothing is named: all of them. */
export function findAmong(
  services: readonly (Named & { readonly group: string | null })[],
  words: { readonly services: readonly string[]; readonly groups: readonly string[] },
): { readonly ids: readonly string[] | null; readonly complaint: string | null } {
  if (words.services.length + words.groups.length === 0) return { ids: null, complaint: null };
  const named = findServices(services, words.services);
  const groups = new Set(services.flatMap(({ group }) => group ?? []));
  const unknown = words.groups.find((word) => !groups.has(word));
  const complaint =
    named.complaint ??
    (unknown === undefined ? null : `no group \`${unknown}\`; there are ${[...groups].join(', ')}`);
  const isNamed = ({ id, group }: (typeof services)[number]) =>
    (words.services.length > 0 && named.services.some((one) => one.id === id)) ||
    (group !== null && words.groups.includes(group));
  return { ids: services.filter(isNamed).map(({ id }) => id), complaint };
}

function sayUnknown(word: string, services: readonly Named[]): string {
  const known = services.map(({ id }) => id);
  const meant = nearest(word, known);
  if (meant !== null) return `no service \`${word}\`; did you mean \`${meant}\`?`;
  const shown = known.slice(0, 10).join(', ');
  return `no service \`${word}\`; there are ${shown}${known.length > 10 ? ' …' : ''}`;
}
