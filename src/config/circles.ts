/** Circles among things that point at each other. */
import type { Path } from './mistake.ts';

export interface Edge {
  readonly from: string;
  readonly to: string;
  /** Where it is written. */
  readonly path: Path;
}

export type Circle = readonly [Edge, ...Edge[]];

interface Visit {
  readonly node: string;
  readonly out: readonly Edge[];
  next: number;
}

/**
 * At least one circle for each way that closes one, in the order in which they are written, each from its first
 * written edge on. Depth first, without recursion: a chain may be as long as there are services.
 */
export function circlesOf(edges: readonly Edge[]): Circle[] {
  const outOf = new Map<string, Edge[]>();
  for (const edge of edges) {
    const out = outOf.get(edge.from);
    if (out === undefined) outOf.set(edge.from, [edge]);
    else out.push(edge);
  }
  const order = new Map(edges.map((edge, index) => [edge, index]));
  const done = new Set<string>();
  const circles: Circle[] = [];
  for (const start of outOf.keys()) {
    if (!done.has(start))
      walk(start, { outOf, done, found: (circle) => circles.push(rotated(circle, order)) });
  }
  return circles;
}

interface Walk {
  readonly outOf: ReadonlyMap<string, readonly Edge[]>;
  readonly done: Set<string>;
  readonly found: (circle: Circle) => void;
}

function walk(start: string, { outOf, done, found }: Walk): void {
  const visitOf = (node: string): Visit => ({ node, out: outOf.get(node) ?? [], next: 0 });
  const stack: Visit[] = [visitOf(start)];
  const taken: Edge[] = [];
  const depthOf = new Map([[start, 0]]);
  for (let top = stack.at(-1); top !== undefined; top = stack.at(-1)) {
    const edge = top.out[top.next++];
    if (edge === undefined) {
      stack.pop();
      taken.pop();
      depthOf.delete(top.node);
      done.add(top.node);
      continue;
    }
    const depth = depthOf.get(edge.to);
    if (depth !== undefined) {
      const [first, ...rest] = [...taken.slice(depth), edge];
      if (first !== undefined) found([first, ...rest]);
    } else if (!done.has(edge.to)) {
      depthOf.set(edge.to, stack.length);
      stack.push(visitOf(edge.to));
      taken.push(edge);
    }
  }
}

function rotated(circle: Circle, order: ReadonlyMap<Edge, number>): Circle {
  const places = circle.map((edge) => order.get(edge) ?? 0);
  const from = places.indexOf(Math.min(...places));
  const [first, ...rest] = [...circle.slice(from), ...circle.slice(0, from)];
  return first === undefined ? circle : [first, ...rest];
}
