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

function sayUnknown(word: string, services: readonly Named[]): string {
  const known = services.map(({ id }) => id);
  const meant = nearest(word, known);
  if (meant !== null) return `no service \`${word}\`; did you mean \`${meant}\`?`;
  const shown = known.slice(0, 10).join(', ');
  return `no service \`${word}\`; there are ${shown}${known.length > 10 ? ' …' : ''}`;
}
