/**
 * Makes one tree like another and touches as little of it as possible, so that what a person does in it stays: the focus,
 * a half-filled form, an opened list, a place on the page. Children are found again by what they are, not by where they
 * stand: by id, else a link by its address, and an entry of a list by the first link within.
 */

export function morph(before: Element, after: Element): void {
  const focused = document.activeElement;
  patch(before, after);
  // An element that is moved loses the focus.
  if (focused !== document.activeElement && focused instanceof HTMLElement && focused.isConnected) {
    focused.focus({ preventScroll: true });
  }
}

function patch(before: Node, after: Node): void {
  if (before.isEqualNode(after)) return;
  if (before instanceof Element && after instanceof Element) {
    patchAttributes(before, after);
    if (!isDirty(before)) patchChildren(before, after);
  } else if (before.nodeValue !== after.nodeValue) before.nodeValue = after.nodeValue;
}

function patchAttributes(before: Element, after: Element): void {
  for (const { name, value } of after.attributes) {
    if (!isOwners(before, name) && before.getAttribute(name) !== value) {
      before.setAttribute(name, value);
    }
  }
  for (const { name } of [...before.attributes]) {
    if (!isOwners(before, name) && !after.hasAttribute(name)) before.removeAttribute(name);
  }
}

/** What the person in front of it decides. */
function isOwners(element: Element, attribute: string): boolean {
  return element instanceof HTMLDetailsElement && attribute === 'open';
}

function patchChildren(before: Element, after: Element): void {
  const wanted = [...after.childNodes];
  const wantedKeys = new Set(wanted.map(keyOf));
  /** The first of those that have not found their place yet. */
  let next = before.firstChild;
  for (const want of wanted) {
    const found = findLike(next, want, wantedKeys);
    if (found === null) {
      before.insertBefore(document.importNode(want, true), next);
      continue;
    }
    if (found === next) next = next.nextSibling;
    else before.insertBefore(found, next);
    patch(found, want);
  }
  while (next !== null) {
    const gone = next;
    next = next.nextSibling;
    if (!isHeld(gone)) gone.remove();
  }
}

/** Among those from `first` on: the one with the same key, or the first of its kind that nobody else will look for. */
function findLike(
  first: ChildNode | null,
  want: Node,
  wantedKeys: ReadonlySet<string | null>,
): ChildNode | null {
  const key = keyOf(want);
  for (let node = first; node !== null; node = node.nextSibling) {
    if (node.nodeName !== want.nodeName) continue;
    const own = keyOf(node);
    if (own === key) return node;
    if (key === null && own !== null && !wantedKeys.has(own) && !isHeld(node)) return node;
  }
  return null;
}

function keyOf(node: Node): string | null {
  if (!(node instanceof Element)) return null;
  if (node.id !== '') return node.id;
  const link = node.matches('li, tr, article') ? node.querySelector('a[href]') : node;
  return link?.getAttribute('href') ?? null;
}

/** Somebody is at it: it stays, even where it is gone from the page. */
function isHeld(node: Node): boolean {
  if (!(node instanceof Element)) return false;
  const fields = [node, ...node.querySelectorAll('input, textarea, select')];
  const isFilledIn = fields.some(isDirty);
  const focused = document.activeElement;
  return isFilledIn || (node.contains(focused) && focused?.closest('form') !== null);
}

function isDirty(element: Element): boolean {
  if (element instanceof HTMLTextAreaElement) return element.value !== element.defaultValue;
  if (element instanceof HTMLInputElement) {
    return element.value !== element.defaultValue || element.checked !== element.defaultChecked;
  }
  if (element instanceof HTMLSelectElement) {
    return [...element.options].some((option) => option.selected !== option.defaultSelected);
  }
  return false;
}
