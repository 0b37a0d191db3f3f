/**
 * Keeps an open page fresh: while somebody looks, it hears what happens, fetches the same page again and makes `main` like
 * the new one, so that what is shown and what the server renders are one and the same. Focus, scroll, a selection, opened
 * lists and half-filled forms stay. Without it the page is complete, and as old as its date line says.
 */
import { findInPlace } from './find.ts';
import { morph } from './morph.ts';
import { type Stream, streamFrom } from './stream.ts';

/** Answers of services alone exchange the page no more often than this. */
const everyMs = 15_000;
/** So often at least, as the page also says how long things last. */
const everyMsMax = 60_000;
const fetchMsMax = 10_000;
/** Three times in vain. */
const staleAfterMs = 3 * everyMs;

const finding = findInPlace();
let freshAtMs = performance.now();
/** Some answer is newer than the page. */
let isBehind = false;
/** A state is, and the page was being fetched already. */
let isWrong = false;
let isFetching = false;

const { live } = document.body.dataset;
const stream: Stream | null = live
  ? streamFrom(live, {
      changed: () => {
        isWrong = isFetching;
        void refresh();
      },
      answered: () => {
        isBehind = true;
      },
    })
  : null;

window.setInterval(() => {
  const ageMs = performance.now() - freshAtMs;
  if (isBehind || !stream?.isOpen() || ageMs > everyMsMax) void refresh();
}, everyMs);
document.addEventListener('visibilitychange', attend);
// Also when the browser brings a page back as it was left.
window.addEventListener('pageshow', ({ persisted }) => persisted && attend());
if (!document.hidden) stream?.resume();

function attend(): void {
  if (document.hidden) stream?.pause();
  else {
    stream?.resume();
    void refresh();
  }
}

async function refresh(): Promise<void> {
  if (document.hidden || isFetching) return;
  isFetching = true;
  isBehind = false;
  try {
    const answer = await fetch(location.href, {
      headers: { accept: 'text/html' },
      cache: 'no-store',
      signal: AbortSignal.timeout(fetchMsMax),
    });
    if (!answer.ok) throw new Error(`answered ${answer.status}`);
    if (answer.redirected) sayStale('You are signed out.');
    else {
      exchange(new DOMParser().parseFromString(await answer.text(), 'text/html'));
      freshAtMs = performance.now();
      say('stale', '');
    }
  } catch {
    if (performance.now() - freshAtMs > staleAfterMs) sayStale('Rollcall does not answer.');
  } finally {
    isFetching = false;
  }
  if (isWrong) {
    isWrong = false;
    void refresh();
  }
}

function exchange(fresh: Document): void {
  const before = document.getElementById('main');
  const after = fresh.getElementById('main');
  // Whoever is marking text to copy it must not lose it; the next time will do.
  if (!before || !after || isSelecting(before)) return;
  const sentence = before.querySelector('h1')?.textContent;
  morph(before, after);
  finding.apply();

  document.title = fresh.title;
  const icon = fresh.querySelector('link[rel="icon"]')?.getAttribute('href');
  if (icon) document.querySelector('link[rel="icon"]')?.setAttribute('href', icon);
  const now = before.querySelector('h1')?.textContent;
  // For those who hear the page: only that something changed is worth a word.
  if (now && now !== sentence) say('said', now);
}

function isSelecting(main: Element): boolean {
  const selection = document.getSelection();
  return selection !== null && !selection.isCollapsed && main.contains(selection.anchorNode);
}

function sayStale(why: string): void {
  const date = document.querySelector('.date')?.textContent ?? 'it was opened';
  say('stale', `Not updated since ${date}. ${why}`);
}

function say(id: 'stale' | 'said', text: string): void {
  const place = document.getElementById(id);
  if (place && place.textContent !== text) place.textContent = text;
}
