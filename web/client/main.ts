/**
 * Keeps an open page fresh: while somebody looks, it fetches the same page again and exchanges `main`, so that what is
 * shown and what the server renders are one and the same. Focus, scroll and a selection stay. Without it the page is
 * complete, and as old as its date line says.
 */

const everyMs = 15_000;
const fetchMsMax = 10_000;
/** Three times in vain. */
const staleAfterMs = 3 * everyMs;

let freshAtMs = performance.now();
let timer = 0;
let isFetching = false;

document.addEventListener('visibilitychange', () => {
  if (!document.hidden) void refresh();
});
wait();

function wait(): void {
  window.clearTimeout(timer);
  timer = window.setTimeout(() => void refresh(), everyMs);
}

async function refresh(): Promise<void> {
  if (document.hidden || isFetching) return wait();
  isFetching = true;
  try {
    const answer = await fetch(location.href, {
      headers: { accept: 'text/html' },
      cache: 'no-store',
      signal: AbortSignal.timeout(fetchMsMax),
    });
    if (!answer.ok) throw new Error(`answered ${answer.status}`);
    exchange(new DOMParser().parseFromString(await answer.text(), 'text/html'));
    freshAtMs = performance.now();
    say('stale', '');
  } catch {
    if (performance.now() - freshAtMs > staleAfterMs) {
      const date = document.querySelector('.date')?.textContent ?? 'earlier';
      say('stale', `Rollcall does not answer. What stands here is from ${date}.`);
    }
  } finally {
    isFetching = false;
    wait();
  }
}

function exchange(fresh: Document): void {
  const before = document.getElementById('main');
  const after = fresh.getElementById('main');
  // Whoever is marking text to copy it must not lose it; the next time will do.
  if (!before || !after || isSelecting(before)) return;
  const place = placeOf(document.activeElement, before);
  const { scrollX, scrollY } = window;
  const sentence = before.querySelector('h1')?.textContent;
  before.replaceWith(document.adoptNode(after));
  if (place) linksAt(after, place.href)[place.index]?.focus({ preventScroll: true });
  window.scrollTo({ left: scrollX, top: scrollY, behavior: 'instant' });

  document.title = fresh.title;
  const icon = fresh.querySelector('link[rel="icon"]')?.getAttribute('href');
  if (icon) document.querySelector('link[rel="icon"]')?.setAttribute('href', icon);
  const now = after.querySelector('h1')?.textContent;
  // For those who hear the page: only that something changed is worth a word.
  if (now && now !== sentence) say('said', now);
}

/** Only links take the focus here; one is found again by its address, the nth of those that share it. */
function placeOf(focused: Element | null, main: Element): { href: string; index: number } | null {
  const href = focused?.getAttribute('href');
  if (!focused || !href || !main.contains(focused)) return null;
  const links: readonly Element[] = linksAt(main, href);
  return { href, index: links.indexOf(focused) };
}

function linksAt(main: Element, href: string): HTMLAnchorElement[] {
  return [...main.querySelectorAll('a')].filter((link) => link.getAttribute('href') === href);
}

function isSelecting(main: Element): boolean {
  const selection = document.getSelection();
  return selection !== null && !selection.isCollapsed && main.contains(selection.anchorNode);
}

function say(id: 'stale' | 'said', text: string): void {
  const place = document.getElementById(id);
  if (place && place.textContent !== text) place.textContent = text;
}
