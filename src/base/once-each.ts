/** What follows from a value alone, worked out once for each: settings stay the same for months, and are asked of all the time. */

/** `work` must be pure. What it gave is kept for as long as the value itself lives. */
export function onceEach<Given extends object, Made>(
  work: (given: Given) => Made,
): (given: Given) => Made {
  const kept = new WeakMap<Given, { readonly made: Made }>();
  return (given) => {
    const known = kept.get(given);
    if (known) return known.made;
    const made = work(given);
    kept.set(given, { made });
    return made;
  };
}
