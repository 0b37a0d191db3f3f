/**
 * A day as a strip: latency as a line on a logarithmic scale, down as a break on hatched ground, degraded on dotted
 * ground, and nothing at all where nobody looked. Everything across is in percent, so the strip fits any width and the
 * ground is never stretched; only the lines lie in a drawing of their own that is.
 */
import { scaleLinear, scaleLog } from 'd3-scale';
import { line } from 'd3-shape';
import type { StripGround, StripPoint, StripProps, TickProps } from '../props.ts';

/** The drawing of the lines: any size will do, as it is stretched over the strip. */
const inner = { width: 1_000, height: 100 };

interface Across {
  readonly from: number;
  readonly to: number;
}

export function Strip({ strip, large = false }: { strip: StripProps; large?: boolean }) {
  const x = percentOf(strip);
  return (
    <svg class={large ? 'strip large' : 'strip'} role="img" aria-label={strip.label}>
      {strip.ticks.map(({ at }) => (
        <line key={at} class="hour" x1={x(at)} x2={x(at)} y1="0" y2="100%" />
      ))}
      {watched(strip).map(({ from, to }) => (
        <line key={from} class="watched" x1={x(from)} x2={x(to)} y1="100%" y2="100%" />
      ))}
      {strip.grounds.map((ground) => (
        <Ground key={ground.from} ground={ground} x={x} />
      ))}
      {strip.misses.map((at) => (
        <line key={at} class="miss" x1={x(at)} x2={x(at)} y1="70%" y2="100%" />
      ))}
      <svg
        aria-hidden="true"
        viewBox={`0 0 ${inner.width} ${inner.height}`}
        preserveAspectRatio="none"
        width="100%"
        height="100%"
      >
        {large && <path class="slow" d={pathOf(strip, ({ slowUs }) => slowUs)} />}
        <path class="typical" d={pathOf(strip, ({ typicalUs }) => typicalUs)} />
      </svg>
    </svg>
  );
}

/** The hours that all strips below or above it share. */
export function Hours({
  ticks,
  day,
}: {
  readonly ticks: readonly TickProps[];
  readonly day: Across;
}) {
  const x = percentOf(day);
  return (
    <svg class="hours" aria-hidden="true">
      {ticks.map(({ at, label }) => (
        <text key={at} x={x(at)} y="100%">
          {label}
        </text>
      ))}
    </svg>
  );
}

/** The latencies beside a large strip. */
export function Scale({ decades }: { readonly decades: StripProps['decades'] }) {
  const last = Math.max(decades.length - 1, 1);
  return (
    <svg class="scale" aria-hidden="true">
      {decades.map(({ us, label }, index) => (
        <text key={us} x="100%" y={`${100 - (100 * index) / last}%`}>
          {label}
        </text>
      ))}
    </svg>
  );
}

/** The grounds' two patterns; once on a page, outside of what is exchanged by the script. */
export function Patterns() {
  return (
    <svg class="patterns" width="0" height="0" aria-hidden="true">
      <defs>
        <pattern id="ground-down" width="5" height="5" patternUnits="userSpaceOnUse">
          <path class="hatch" d="M-1 1 1 -1M0 5 5 0M4 6 6 4" />
        </pattern>
        <pattern id="ground-degraded" width="5" height="5" patternUnits="userSpaceOnUse">
          <circle class="dot" cx="1.5" cy="1.5" r="1" />
        </pattern>
      </defs>
    </svg>
  );
}

function Ground({ ground, x }: { ground: StripGround; x: (at: number) => string }) {
  const { state, from, to } = ground;
  if (state !== 'down' && state !== 'degraded') return null;
  const width = `${Number.parseFloat(x(to)) - Number.parseFloat(x(from))}%`;
  return (
    <rect
      class={`ground is-${state}`}
      fill={`url(#ground-${state})`}
      x={x(from)}
      width={width}
      y="0"
      height="100%"
    />
  );
}

/** What is left of the day without the time in which nobody looked. */
function watched({ from, to, grounds }: StripProps): readonly Across[] {
  const blanks = grounds.filter(({ state }) => state === 'unobserved');
  const begins = [from, ...blanks.map((blank) => blank.to)];
  const ends = [...blanks.map((blank) => blank.from), to];
  return begins
    .map((begin, index) => ({ from: begin, to: ends[index] ?? to }))
    .filter((stretch) => stretch.from < stretch.to);
}

function percentOf({ from, to }: Across): (at: number) => string {
  const scale = scaleLinear([from, to], [0, 100]).clamp(true);
  return (at) => `${Math.round(scale(at) * 100) / 100}%`;
}

function pathOf(strip: StripProps, usOf: (point: StripPoint) => number | null): string {
  const x = scaleLinear([strip.from, strip.to], [0, inner.width]);
  const low = strip.decades[0]?.us ?? 1;
  const high = strip.decades.at(-1)?.us ?? 10;
  // A little room above and below, so that the line is not cut where it touches the edge.
  const y = scaleLog([low, high], [inner.height - 6, 6]).clamp(true);
  const draw = line<StripPoint>()
    .defined((point) => usOf(point) !== null)
    .x(({ at }) => Math.round(x(at) * 10) / 10)
    .y((point) => Math.round(y(Math.max(usOf(point) ?? low, low)) * 10) / 10);
  return draw(strip.points) ?? '';
}
