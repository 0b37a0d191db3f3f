/** A binary heap of due times: the soonest on top. Ties are broken by the order of arrival. */

interface Item<T> {
  readonly dueMs: number;
  readonly order: number;
  readonly value: T;
}

export interface DueHeap<T> {
  push(dueMs: number, value: T): void;
  /** The soonest, left in place. */
  peek(): { readonly dueMs: number; readonly value: T } | undefined;
  pop(): { readonly dueMs: number; readonly value: T } | undefined;
  readonly size: number;
}

export function dueHeap<T>(): DueHeap<T> {
  // Invariant: no item is due later than either of its children (2i+1 and 2i+2).
  const items: Item<T>[] = [];
  let arrivals = 0;

  const at = (index: number): Item<T> => {
    const item = items[index];
    if (!item) throw new Error(`heap index ${index} of ${items.length}`);
    return item;
  };
  const swap = (a: number, b: number): void => {
    const item = at(a);
    items[a] = at(b);
    items[b] = item;
  };
  const rise = (start: number): void => {
    for (let child = start; child > 0; ) {
      const parent = (child - 1) >> 1;
      if (!sooner(at(child), at(parent))) return;
      swap(child, parent);
      child = parent;
    }
  };
  const sink = (): void => {
    for (let parent = 0; ; ) {
      const left = 2 * parent + 1;
      if (left >= items.length) return;
      const right = left + 1;
      const child = right < items.length && sooner(at(right), at(left)) ? right : left;
      if (!sooner(at(child), at(parent))) return;
      swap(child, parent);
      parent = child;
    }
  };

  return {
    push: (dueMs, value) => {
      items.push({ dueMs, order: arrivals++, value });
      rise(items.length - 1);
    },
    peek: () => items[0],
    pop: () => {
      const top = items[0];
      const last = items.pop();
      if (items.length > 0 && last) {
        items[0] = last;
        sink();
      }
      return top;
    },
    get size() {
      return items.length;
    },
  };
}

function sooner<T>(a: Item<T>, b: Item<T>): boolean {
  return a.dueMs < b.dueMs || (a.dueMs === b.dueMs && a.order < b.order);
}
