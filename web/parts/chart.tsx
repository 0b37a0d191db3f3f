/** A strip drawn large, with the latencies beside it and the time above. */
import type { ComponentChildren } from 'preact';
import type { SheetProps, StripProps } from '../props.ts';
import { Hours, Paper, Scale } from './paper.tsx';
import { Strip } from './strip.tsx';

interface ChartGiven {
  readonly sheet: SheetProps;
  readonly strip: StripProps;
  /** What is to be said of it. */
  readonly children: ComponentChildren;
}

export function Chart({ sheet, strip, children }: ChartGiven) {
  return (
    <figure class="chart">
      <Paper sheet={sheet} large />
      <Hours />
      <div class="drawn">
        <Scale />
        <Strip sheet={sheet} strip={strip} large />
      </div>
      <figcaption>{children}</figcaption>
    </figure>
  );
}
