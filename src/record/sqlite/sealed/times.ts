/**
 * The instants of a block. A timetable asks on a grid, so an instant is told by its lateness against the grid; where there is
 * no grid, by how much later than a step it came after the one before.
 */
import { damaged, type Eye, type Pen } from './bytes.ts';
import { type Narrow, narrowed, readNarrow, shortest, wideMark, writeNarrow } from './narrow.ts';

/** An instant this near to the grid is on it: a timer is hardly later, and hardly an interval so short. */
const nearMs = 127;

interface Course {
  readonly first: number;
  readonly stepMs: number;
  readonly onGrid: boolean;
}

/** Told of one instant after the other, it says which is to be expected next. */
function expectation({ first, stepMs, onGrid }: Course): (at: number) => number {
  let grid = first;
  let expected = first;
  let strayed = false;
  return (at) => {
    if (!onGrid) return at + stepMs;
    const near = Math.abs(at - expected) <= nearMs;
    if (near) {
      grid = expected;
      expected += stepMs;
    } else {
      // One instant off the grid is a question in between. With a second one the grid begins anew.
      if (strayed) grid = at;
      expected = grid + stepMs * (1 + Math.max(0, Math.round((at - grid) / stepMs)));
    }
    strayed = !(near || strayed);
    return expected;
  };
}

/** Returns the column; what it takes to read it goes to the head. `at` ascends. */
export function writeTimes(head: Pen, at: Float64Array): Uint8Array {
  const first = at[0] ?? 0;
  const stepMs = stepOf(at);
  const way = shortest([
    written({ first, stepMs, onGrid: true }, at),
    written({ first, stepMs, onGrid: false }, at),
  ]);
  head.number(first);
  head.number(stepMs);
  head.number(way.onGrid ? 1 : 0);
  return writeNarrow(head, way);
}

function written(course: Course, at: Float64Array): Course & Narrow {
  const expectedAfter = expectation(course);
  let expected = expectedAfter(course.first);
  const late = at.subarray(1).map((instant) => {
    const lateMs = instant - expected;
    expected = expectedAfter(instant);
    return lateMs;
  });
  const gap = (nth: number) => (at[nth + 1] ?? 0) - (at[nth] ?? 0);
  return { ...course, ...narrowed(late, gap) };
}

/** The time between two instants that there is most often, at least 1. */
function stepOf(at: Float64Array): number {
  const counts = new Map<number, number>();
  for (let nth = 1; nth < at.length; nth++) {
    const gap = (at[nth] ?? 0) - (at[nth - 1] ?? 0);
    counts.set(gap, (counts.get(gap) ?? 0) + 1);
  }
  let step = 1;
  for (const [gap, count] of counts) if (count > (counts.get(step) ?? 0)) step = gap;
  return Math.max(step, 1);
}

export function readTimes(head: Eye, column: Uint8Array, count: number): Float64Array {
  const first = head.number();
  const course = { first, stepMs: head.number(), onGrid: head.number(1) === 1 };
  const { numbers: late, wide } = readNarrow(head, column, Math.max(count - 1, 0));
  const at = new Float64Array(count).fill(first, 0, 1);
  const expectedAfter = expectation(course);
  let before = first;
  let expected = expectedAfter(first);
  let wideNth = 0;
  for (let nth = 0; nth < late.length; nth++) {
    const lateMs = late[nth] ?? 0;
    const gap = lateMs === wideMark ? wide[wideNth++] : expected + lateMs - before;
    if (gap === undefined || !(gap >= 0)) throw damaged('time runs backward');
    before += gap;
    expected = expectedAfter(before);
    at[nth + 1] = before;
  }
  return at;
}
