/**
 * The roll's page, for many who look at once: when something changes, every open page asks for it in the same moment.
 * Rendered once for all of a second in which nothing changed; not for who is signed in, whose page holds his own tokens.
 */
import type { Board } from './board.ts';
import type { RollAsked } from './find.ts';

interface Rendered {
  readonly key: string;
  readonly html: Promise<string>;
}

/** Pages with different searches that are kept. */
const renderedCountMax = 20;

export function rollKeeper(
  board: Board,
): (asked: RollAsked, render: () => Promise<string>) => Promise<string> {
  const pages = new Map<string, Rendered>();
  return (asked, render) => {
    const name = JSON.stringify([asked.find, asked.group]);
    const key = momentOf(board);
    const known = pages.get(name);
    if (known?.key === key) return known.html;
    if (pages.size >= renderedCountMax) pages.clear();
    const html = render();
    pages.set(name, { key, html });
    html.catch(() => pages.delete(name));
    return html;
  };
}

/** The second, and all that the page says of the services in it. */
function momentOf({ clock, cards, standingOf, self, record, telling }: Board): string {
  const stands = cards.map(({ id }) => {
    const { state, since, suspect, unsteady, causeId, hiddenBy, last } = standingOf(id);
    return `${state} ${since} ${suspect} ${unsteady} ${causeId} ${hiddenBy} ${last?.at}`;
  });
  const itself = [
    record.health().trouble,
    self().troubles.length,
    telling().deadLetters.length,
    ...telling().channels.map(({ lastFailure }) => lastFailure?.at),
  ];
  return `${Math.floor(clock.wallMs() / 1_000)} ${itself.join(' ')} ${stands.join()}`;
}
