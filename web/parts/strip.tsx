/**
 * What one pen wrote: latency as a line on a logarithmic scale, down as a break in it on hatched ground, degraded on
 * dotted ground, planned time shaded, and blank paper where nobody looked. Everything across is in percent, so the strip
 * fits any width and grounds are never stretched; only the lines lie in a drawing of their own that is.
 */
import type { SheetProps, StripGround, StripProps } from '../props.ts';
import { keptMarkup } from './once.ts';
import { paperKey } from './paper.tsx';
import { acrossOf, drawingOf, lineOf, widthOf } from './pen.ts';

interface StripGiven {
  readonly sheet: SheetProps;
  readonly strip: StripProps;
  /** With the slower answers too. */
  readonly large?: boolean;
}

/** `Paper` with the same sheet must be on the page. */
export function Strip(given: StripGiven) {
  return once(given.strip, paperKey(given.sheet, given.large ?? false), () => drawn(given));
}

const once = keptMarkup<StripProps>();

function drawn({ sheet, strip, large = false }: StripGiven) {
  const { points, grounds, misses, label } = strip;
  const x = acrossOf(sheet);
  const drawing = drawingOf(sheet, large);
  return (
    <svg class={large ? 'strip large' : 'strip'} role="img" aria-label={label}>
      <use href="#ruling" />
      {grounds.map((ground) => (
        <Ground key={ground.from} ground={ground} sheet={sheet} />
      ))}
      {misses.map((at) => (
        <line key={at} class="miss" x1={x(at)} x2={x(at)} y1="70%" y2="100%" />
      ))}
      <svg
        viewBox={`0 0 ${drawing.width} ${drawing.height}`}
        aria-hidden="true"
        preserveAspectRatio="none"
      >
        {large && (
          <>
            <path class="slowest" d={lineOf(sheet, points, (one) => one.slowestUs, drawing)} />
            <path class="slow" d={lineOf(sheet, points, (one) => one.slowUs, drawing)} />
          </>
        )}
        <path class="pen" d={lineOf(sheet, points, (one) => one.typicalUs, drawing)} />
      </svg>
    </svg>
  );
}

function Ground({ ground, sheet }: { ground: StripGround; sheet: SheetProps }) {
  const { state, from, to } = ground;
  const isPatterned = state === 'down' || state === 'degraded';
  return (
    <rect
      class={`ground is-${state}`}
      {...(isPatterned && { fill: `url(#ground-${state})` })}
      x={acrossOf(sheet)(from)}
      width={widthOf(sheet, from, to)}
      height="100%"
    />
  );
}
