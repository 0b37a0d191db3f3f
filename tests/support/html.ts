/**
 * The skeleton of a page: its tags with the names of their attributes, as a browser's tokenizer would see them (WHATWG
 * HTML §13.2.5, as far as our own pages use it). A text that stays a text changes nothing of it.
 */

/** `<a class href>` and `</a>`, one a line; comments and doctypes as well. */
export function skeletonOf(html: string): string[] {
  const tags: string[] = [];
  let at = html.indexOf('<');
  while (at >= 0) {
    const end = html.startsWith('<!--', at) ? html.indexOf('-->', at) + 2 : endOfTag(html, at);
    if (end < at) throw new Error('a tag without an end');
    const tag = html.slice(at, end + 1);
    tags.push(tag.replace(/\s*=\s*("[^"]*"|'[^']*'|[^\s>]*)/g, ''));
    // Nothing within is markup until its own end.
    const raw = /^<(script|style|title|textarea)\b/.exec(tag)?.[1];
    const from = raw && !tag.endsWith('/>') ? html.indexOf(`</${raw}`, end) : end + 1;
    at = html.indexOf('<', from < 0 ? html.length : from);
  }
  return tags;
}

function endOfTag(html: string, at: number): number {
  let quote: string | null = null;
  for (let place = at; place < html.length; place++) {
    const letter = html[place] ?? '';
    if (quote === null && letter === '>') return place;
    if (letter === quote) quote = null;
    else if (quote === null && (letter === '"' || letter === "'")) quote = letter;
  }
  return -1;
}
