/** The strip as it is drawn: places in percent, lines on a logarithmic scale, patterns for grounds. */
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { Hours, Paper, Scale, Stationery } from '../../web/parts/paper.tsx';
import { Strip } from '../../web/parts/strip.tsx';
import type { SheetProps, StripPoint, StripProps } from '../../web/props.ts';

const sheet: SheetProps = {
  from: 0,
  to: 1_000,
  stepMs: 100,
  ticks: [
    { at: 250, label: '06:00', begins: false },
    { at: 500, label: null, begins: true },
  ],
  decades: [
    { us: 1_000, label: '1 ms' },
    { us: 10_000, label: '10 ms' },
    { us: 100_000, label: '100 ms' },
  ],
};

function point(at: number, typicalUs: number | null, times = 2): StripPoint {
  const slowUs = typicalUs && typicalUs * times;
  return { at, typicalUs, slowUs, slowestUs: slowUs && slowUs * 2 };
}

const strip: StripProps = {
  label: 'Last 24 hours: <b>fine</b>.',
  points: [
    point(50, 1_000),
    point(150, 1_000),
    point(450, 10_000),
    point(600, null),
    point(950, 100_000),
  ],
  grounds: [
    { state: 'down', from: 600, to: 900 },
    { state: 'unobserved', from: 100, to: 250 },
    { state: 'planned', from: 300, to: 400 },
    { state: 'degraded', from: 900, to: 1_000 },
  ],
  misses: [50],
};
const drawn = renderToString(<Strip sheet={sheet} strip={strip} />);

test('it is one picture with one sentence', () => {
  expect(drawn).toMatch(/^<svg class="strip" role="img" aria-label="Last 24 hours: &lt;b>fine/);
  expect(drawn.match(/role="img"/g)).toHaveLength(1);
});

test('a decade is as high as the next, the line breaks where there is no value, and a lone point is a dot', () => {
  // Two units a step, 75 upwards: 1 ms at 94 % of the height, 10 ms in the middle, 100 ms at 6 %; rounded.
  expect(drawn).toContain('viewBox="0 0 20 75"');
  expect(drawn).toContain('<path class="pen" d="m1 71h2l6-34m10-32h0"></path>');
});

test('what goes on at one height is one stroke, and what follows it begins where it ended', () => {
  const points = [50, 150, 250, 350].map((at) => point(at, 1_000));
  const level = { ...strip, points: [...points, point(450, 10_000)] };
  expect(renderToString(<Strip sheet={sheet} strip={level} />)).toContain('d="m1 71h6l2-34"');
});

test('what is slower than the sheet stays on its edge', () => {
  const beyond = { ...strip, points: [point(50, 90_000, 50), point(150, 10_000_000)] };
  const large = renderToString(<Strip sheet={sheet} strip={beyond} large />);
  expect(large).toContain('<path class="slow" d="m1 18h2"></path>');
  expect(drawn).not.toContain('class="slow"');
});

test('down and degraded lie on their patterns, planned time is shaded, where nobody looked is paper', () => {
  const grounds = [
    ...drawn.matchAll(
      /<rect class="ground is-(\w+)"( fill="[^"]+")? x="([\d.]+%)" width="([\d.]+%)"/g,
    ),
  ];
  expect(grounds.map((found) => found.slice(1))).toEqual([
    ['down', ' fill="url(#ground-down)"', '60%', '30%'],
    ['unobserved', undefined, '10%', '15%'],
    ['planned', undefined, '30%', '10%'],
    ['degraded', ' fill="url(#ground-degraded)"', '90%', '10%'],
  ]);
});

test('the ruling lies beneath everything, so that blank paper is blank', () => {
  expect(drawn.indexOf('#ruling')).toBeLessThan(drawn.indexOf('<rect'));
  expect(drawn.indexOf('<path')).toBeGreaterThan(drawn.lastIndexOf('<rect'));
});

test('single failures have their strokes', () => {
  expect(drawn).toContain('class="miss" x1="5%" x2="5%"');
});

test('what strips refer to is on the paper', () => {
  const there = renderToString(<Stationery />) + renderToString(<Paper sheet={sheet} />);
  const used = drawn + renderToString(<Hours />) + renderToString(<Scale />);
  const names = [...used.matchAll(/(?:url\(|href=")#([\w-]+)/g)].map(([, name]) => name);
  expect(new Set(names)).toEqual(
    new Set(['ruling', 'ground-down', 'ground-degraded', 'hours', 'scale']),
  );
  for (const name of names) expect(there).toContain(`id="${name}"`);
});

test('hours and latencies are written where they belong', () => {
  const paper = renderToString(<Paper sheet={sheet} large />);
  expect(paper).toContain('<text class="printed" x="25%" y="75%">06:00</text>');
  expect(paper).toMatch(/y="94%">1 ms<.*y="50%">10 ms<.*y="6%">100 ms</);
  // The lines for the same places, and one without a word where a day begins.
  expect(paper).toContain('<line class="hair" x1="25%" x2="25%" y2="100%">');
  expect(paper).toContain('<line class="begins" x1="50%" x2="50%" y2="100%">');
  expect(paper).toContain('<line class="hair" x2="100%" y1="50%" y2="50%">');
});

test('beside a lane only every other latency finds room where there are many', () => {
  const decades = [1, 10, 100, 1_000, 10_000].map((us) => ({ us, label: `${us} µs` }));
  const paper = renderToString(<Paper sheet={{ ...sheet, decades }} />);
  const labels = [...paper.matchAll(/>(\d+) µs</g)].map(([, label]) => label);
  expect(labels).toEqual(['1', '100', '10000']);
});

test('an empty day draws nothing and does not break', () => {
  const empty: StripProps = {
    ...strip,
    points: [],
    misses: [],
    grounds: [{ state: 'unobserved', from: 0, to: 1_000 }],
  };
  expect(renderToString(<Strip sheet={sheet} strip={empty} />)).toMatch(
    /<path class="pen" d(="")?>/,
  );
});
