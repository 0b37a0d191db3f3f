/** The stream of what happens, for as long as somebody looks: opened again when it breaks, less and less often. */

export interface Heard {
  /** A service changed its state, or may have while nobody listened. */
  changed(): void;
  /** A service was asked. */
  answered(): void;
}

export interface Stream {
  readonly isOpen: () => boolean;
  /** Browsers keep few connections to one host: a page that nobody sees gives its own back. */
  pause(): void;
  resume(): void;
}

const pauseMs = 1_000;
const pauseMsMax = 60_000;

export function streamFrom(url: string, heard: Heard): Stream {
  let source: EventSource | null = null;
  let failures = 0;
  let timer = 0;

  const open = (): void => {
    source = new EventSource(url);
    source.addEventListener('open', () => {
      if (failures > 0) heard.changed();
      else heard.answered();
      failures = 0;
    });
    source.addEventListener('change', heard.changed);
    source.addEventListener('missed', heard.changed);
    source.addEventListener('observation', heard.answered);
    // By itself it would try again at one and the same pace, and not at all after a refusal.
    source.addEventListener('error', () => {
      close();
      const longest = Math.min(pauseMs * 2 ** failures, pauseMsMax);
      failures++;
      timer = window.setTimeout(open, longest * (0.5 + Math.random() / 2));
    });
  };
  const close = (): void => {
    window.clearTimeout(timer);
    source?.close();
    source = null;
  };
  return {
    isOpen: () => source?.readyState === EventSource.OPEN,
    pause: close,
    resume: () => {
      close();
      open();
    },
  };
}
