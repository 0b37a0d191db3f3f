/** The last runs of a job as bars: as high as they took long, hatched where they failed, hollow while they run. */
import type { RunStripProps } from '../props-job.ts';

/** Of the width of a bar's place. */
const share = 0.72;

export function RunStrip({ strip: { label, bars } }: { readonly strip: RunStripProps }) {
  const place = 100 / bars.length;
  const percent = (value: number) => `${Math.round(value * 100) / 100}%`;
  return (
    <svg class="runs" role="img" aria-label={label}>
      {bars.map(({ id, height, end }, index) => (
        <rect
          key={id}
          class={`run is-${end}`}
          {...(end === 'failed' && { fill: 'url(#ground-down)' })}
          x={percent(index * place)}
          width={percent(place * share)}
          y={percent(100 - height)}
          height={percent(height)}
        />
      ))}
    </svg>
  );
}
