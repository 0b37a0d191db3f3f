/** What is drawn once on a page and used by every strip and sign on it: grounds, signs, and the ruling of the sheet. */
import type { SheetProps } from '../props.ts';
import { keptMarkup } from './once.ts';
import { acrossOf, upwardsOf } from './pen.ts';
import { Shape } from './sign.tsx';

/** Grounds and signs: the same on every page, outside of what the script exchanges. */
export function Stationery() {
  return sameOnce(signs, '', stationery);
}

const signs = ['up', 'degraded', 'down', 'unobserved'] as const;
const sameOnce = keptMarkup<typeof signs>();

function stationery() {
  return (
    <svg class="stationery" width="0" height="0" aria-hidden="true">
      <defs>
        <pattern id="ground-down" width="6" height="6" patternUnits="userSpaceOnUse">
          <path class="hatch" d="M-1 1 1-1M0 6 6 0M5 7 7 5" />
        </pattern>
        <pattern id="ground-degraded" width="6" height="6" patternUnits="userSpaceOnUse">
          <circle class="dot" cx="1.5" cy="1.5" r="1" />
          <circle class="dot" cx="4.5" cy="4.5" r="1" />
        </pattern>
      </defs>
      {signs.map((state) => (
        <symbol key={state} id={`sign-${state}`} viewBox="0 0 16 16">
          <Shape state={state} />
        </symbol>
      ))}
    </svg>
  );
}

/** The ruling, the words above it and the latencies beside it: used by the strips of this page as often as they like. */
export function Paper({ sheet, large = false }: PaperGiven) {
  return paperOnce(sheet.ticks, paperKey(sheet, large), () => paper({ sheet, large }));
}

const paperOnce = keptMarkup<SheetProps['ticks']>();

interface PaperGiven {
  readonly sheet: SheetProps;
  readonly large?: boolean;
}

/** All that a place on the paper depends on, beside the ticks. */
export function paperKey({ from, to, stepMs, decades }: SheetProps, large: boolean): string {
  return `${from} ${to} ${stepMs} ${decades[0]?.us} ${decades.length} ${large}`;
}

function paper({ sheet, large }: Required<PaperGiven>) {
  // Beside a lane there is room for three.
  const every = large ? 1 : Math.ceil(sheet.decades.length / 3);
  const x = acrossOf(sheet);
  const y = upwardsOf(sheet);
  const height = (us: number) => `${Math.round(y(us) * 1_000) / 10}%`;
  return (
    <svg class="stationery" width="0" height="0" aria-hidden="true">
      <symbol id="ruling">
        {sheet.decades.map(({ us }) => (
          <line key={us} class="hair" x2="100%" y1={height(us)} y2={height(us)} />
        ))}
        {sheet.ticks.map(({ at, begins }) => (
          <line key={at} class={begins ? 'begins' : 'hair'} x1={x(at)} x2={x(at)} y2="100%" />
        ))}
      </symbol>
      <symbol id="hours" overflow="visible">
        {sheet.ticks.map(
          ({ at, label }) =>
            label !== null && (
              <text key={at} class="printed" x={x(at)} y="75%">
                {label}
              </text>
            ),
        )}
      </symbol>
      <symbol id="scale" overflow="visible">
        {sheet.decades
          .filter((_, index) => index % every === 0)
          .map(({ us, label }) => (
            <text key={us} class="printed latency" x="100%" y={height(us)}>
              {label}
            </text>
          ))}
      </symbol>
    </svg>
  );
}

/** The words above the sheet. */
export function Hours() {
  return (
    <svg class="hours" aria-hidden="true">
      <use href="#hours" />
    </svg>
  );
}

/** The latencies beside it. */
export function Scale() {
  return (
    <svg class="scale" aria-hidden="true">
      <use href="#scale" />
    </svg>
  );
}
