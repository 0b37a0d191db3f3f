/** The course of one service over a day, a week, a month or a year, and how long its answers took in that time. */
import type { ChartProps, LatencyRowProps } from '../../web/props-service.ts';
import type { Phases, ServiceCard } from '../base/values.ts';
import type { Latencies } from '../record/record.ts';
import { type Sketch, sketchQuantile } from '../uptime/sketch.ts';
import type { Board } from './board.ts';
import { type ChartLength, chartLengths } from './charts.ts';
import { chartPage } from './links.ts';
import { latenciesOf, sheetOf, stripOf } from './strip.ts';
import { sayCount, sayTook } from './zone.ts';

/** What a chart of this length shows, and what one point of its line stands for. */
const words: Readonly<Record<ChartLength, { readonly title: string; readonly step: string }>> = {
  day: { title: 'Last 24 hours', step: 'ten minutes' },
  week: { title: 'Last 7 days', step: 'an hour' },
  month: { title: 'Last 30 days', step: 'four hours' },
  year: { title: 'Last 365 days', step: 'a day' },
};

/** From the query of an address, whatever it holds; by default a day. */
export function lengthAsked(query: unknown): ChartLength {
  const { range } = (query ?? {}) as { readonly range?: unknown };
  return chartLengths.find((length) => length === range) ?? 'day';
}

export async function chartProps(
  board: Board,
  { id }: ServiceCard,
  length: ChartLength,
): Promise<ChartProps> {
  const [chart, latencies] = await Promise.all([
    board.figures.chart(id, length),
    board.figures.latencies(id, length),
  ]);
  const { title, step } = words[length];
  const strip = stripOf(chart, title);
  return {
    heading: title,
    ranges: chartLengths.map((one) => ({
      name: one,
      href: chartPage(board, id, one),
      here: one === length,
    })),
    sheet: sheetOf(chart, board.zone, latenciesOf([strip], true)),
    strip,
    step,
    counts: countsText(latencies),
    latencies: rowsOf(latencies),
  };
}

/** `2,880 answers, 12 of them with reservations; 3 failures.` */
function countsText({ counts: { answered, limited, failed, unproven } }: Latencies): string {
  const limitedText = limited === 0 ? '' : `, ${number(limited)} of them with reservations`;
  return `${[
    `${many(answered + limited, 'answer')}${limitedText}`,
    ...(failed === 0 ? [] : [many(failed, 'failure')]),
    ...(unproven === 0 ? [] : [`${many(unproven, 'question')} met with silence`]),
  ].join('; ')}.`;
}

function many(count: number, word: string): string {
  return count < 1_000 ? sayCount(count, word) : `${number(count)} ${word}s`;
}

function number(count: number): string {
  return count.toLocaleString('en-GB');
}

const phaseWords: readonly (readonly [keyof Phases, string, string])[] = [
  ['resolveUs', 'resolve', 'its name into an address'],
  ['connectUs', 'connect', 'to its port'],
  ['secureUs', 'secure', 'the connection by TLS'],
  ['speakUs', 'speak', 'its protocol, up to the question'],
  ['answerUs', 'answer', 'until the answer was complete'],
];

/** The whole exchange, then its phases in the order in which they happen. */
function rowsOf({ tookUs, phases }: Latencies): LatencyRowProps[] {
  if (tookUs.count === 0) return [];
  return [
    rowOf('whole', 'the exchange from its first packet to its last', tookUs),
    ...phaseWords.flatMap(([key, word, meaning]) => {
      const sketch = phases[key];
      return sketch && sketch.count > 0 ? [rowOf(word, meaning, sketch)] : [];
    }),
  ];
}

function rowOf(word: string, meaning: string, sketch: Sketch): LatencyRowProps {
  const took = (p: number) => sayTook(sketchQuantile(sketch, p) ?? 0);
  return { word, meaning, typical: took(0.5), slow: took(0.95), slowest: took(0.99) };
}
