/** From instants and latencies to places on a sheet of chart paper. Pure. */
import { scaleLinear, scaleLog } from 'd3-scale';
import type { SheetProps, StripPoint } from '../props.ts';

/**
 * The drawing in which lines are written: two units across for a step, so that its middle is a whole number; upwards as
 * many as are told apart at the size at which it is shown. It is stretched over the strip.
 */
export interface Drawing {
  readonly width: number;
  readonly height: number;
}

export function drawingOf({ from, to, stepMs }: SheetProps, large: boolean): Drawing {
  return { width: 2 * Math.ceil((to - from) / stepMs), height: large ? 300 : 75 };
}

/** Room below the lowest and above the highest decade, so that a line on the edge is whole: a share of the height. */
const marginShare = 0.06;

/** Where an instant lies across the sheet, as `12.5%`. */
export function acrossOf({ from, to }: Pick<SheetProps, 'from' | 'to'>): (at: number) => string {
  const scale = scaleLinear([from, to], [0, 100]).clamp(true);
  return (at) => `${percent(scale(at))}%`;
}

/** How wide a stretch of time is, as `3.1%`. */
export function widthOf(sheet: SheetProps, from: number, to: number): string {
  const x = acrossOf(sheet);
  return `${percent(Number.parseFloat(x(to)) - Number.parseFloat(x(from)))}%`;
}

/** Where a latency lies upwards, as a share of the height from the top. What is beyond the sheet stays on its edge. */
export function upwardsOf({ decades }: SheetProps): (us: number) => number {
  const low = decades[0]?.us ?? 1;
  const high = decades.at(-1)?.us ?? 10;
  const scale = scaleLog([low, high], [1 - marginShare, marginShare]).clamp(true);
  return (us) => scale(Math.max(us, low));
}

/** The line of one quantile: whole numbers, each relative to the one before, which is a third of what else it would take. */
export function lineOf(
  sheet: SheetProps,
  points: readonly StripPoint[],
  usOf: (point: StripPoint) => number | null,
  drawing: Drawing,
): string {
  const y = upwardsOf(sheet);
  const line = penAt0();
  for (const point of points) {
    const us = usOf(point);
    if (us === null) line.lift();
    else {
      const across = Math.round(((point.at - sheet.from) / sheet.stepMs) * 2);
      line.to(across, Math.round(y(us) * drawing.height));
    }
  }
  return line.written();
}

/**
 * Writes an SVG path (SVG 2, 9.3). A single point gets a line of no length, which a round end makes a dot; what goes on at
 * one height is one stroke.
 */
function penAt0() {
  let [penX, penY] = [0, 0];
  let isDown = false;
  let isDot = false;
  let level = 0;
  let path = '';
  const move = (x: number, y: number): string => {
    const [dx, dy] = [x - penX, y - penY];
    [penX, penY] = [x, y];
    return `${dx}${dy < 0 ? '' : ' '}${dy}`;
  };
  const drawLevel = (): void => {
    if (level > 0) path += `h${level}`;
    level = 0;
  };
  const lift = (): void => {
    drawLevel();
    if (isDot) path += 'h0';
    [isDown, isDot] = [false, false];
  };
  return {
    lift,
    to: (x: number, y: number): void => {
      if (isDown && y === penY) level += x - penX;
      else {
        drawLevel();
        path += `${isDown ? 'l' : 'm'}${move(x, y)}`;
      }
      penX = x;
      [isDot, isDown] = [!isDown, true];
    },
    written: (): string => {
      lift();
      return path;
    },
  };
}

function percent(value: number): number {
  return Math.round(value * 100) / 100;
}
