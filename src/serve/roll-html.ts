/**
 * The roll's page, for many who look at once: when something changes, every open page asks for it in the same moment.
 * Rendered and compressed once for all of a second in which nothing changed; not for who is signed in, whose page holds his
 * own tokens.
 */
import type { Board } from './board.ts';
import { compressed, type Encoding } from './compression.ts';
import type { RollAsked } from './find.ts';

export interface KeptPage {
  readonly bytes: Buffer;
  /** Compressed when the first one asks for it. */
  as(encoding: Encoding): Promise<Buffer>;
}

interface Rendered {
  readonly key: string;
  readonly page: Promise<KeptPage>;
}

/** Pages with different searches that are kept. */
const renderedCountMax = 20;

export function rollKeeper(
  board: Board,
): (asked: RollAsked, render: () => Promise<string>) => Promise<KeptPage> {
  const pages = new Map<string, Rendered>();
  return (asked, render) => {
    const name = JSON.stringify([asked.find, asked.group]);
    // Before the page is begun: what changes amid that makes another one.
    const key = momentOf(board);
    const known = pages.get(name);
    if (known?.key === key) return known.page;
    if (pages.size >= renderedCountMax) pages.clear();
    const page = render().then(keptPage);
    pages.set(name, { key, page });
    page.catch(() => pages.delete(name));
    return page;
  };
}

function keptPage(html: string): KeptPage {
  const bytes = Buffer.from(html);
  const kept = new Map<Encoding, Promise<Buffer>>();
  return {
    bytes,
    as: (encoding) => {
      const made = kept.get(encoding) ?? compressed(bytes, encoding);
      kept.set(encoding, made);
      return made;
    },
  };
}

/** The second, and all that the page is made of beside the time. Asked for each page: it is to be cheap. */
function momentOf({ clock, revision, record, planned, self, telling }: Board): string {
  const { trouble, droppedCount, damage } = record.health();
  const { channels, deadLetters } = telling();
  return [
    Math.floor(clock.wallMs() / 1_000),
    revision(),
    record.revision(),
    trouble,
    droppedCount,
    damage,
    ...(planned?.running() ?? []).map(({ id, to }) => `${id} ${to}`),
    ...self().troubles,
    deadLetters.length,
    ...channels.map(
      ({ lastFailure, lastDeliveredAt, waitingCount }) =>
        `${lastFailure?.at} ${lastDeliveredAt} ${waitingCount}`,
    ),
  ].join('\n');
}
