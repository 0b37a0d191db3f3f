/** Turns: work that takes long in one go gives way now and then, so that nobody else waits for all of it. */

/** Resolves when everything that waits for the event loop has had its turn. No time need pass for that. */
export function othersFirst(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}
