/** The strip as it is drawn: places in percent, lines on a logarithmic scale, patterns for grounds. */
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { Hours, Patterns, Scale, Strip } from '../../web/parts/strip.tsx';
import type { StripProps } from '../../web/props.ts';

const strip: StripProps = {
  label: 'Last 24 hours: <b>fine</b>.',
  from: 0,
  to: 1_000,
  points: [
    { at: 0, typicalUs: 1_000, slowUs: 2_000 },
    { at: 500, typicalUs: 10_000, slowUs: 20_000 },
    { at: 600, typicalUs: null, slowUs: null },
    { at: 1_000, typicalUs: 100_000, slowUs: 500_000 },
  ],
  grounds: [
    { state: 'down', from: 600, to: 900 },
    { state: 'unobserved', from: 100, to: 250 },
  ],
  misses: [50],
  ticks: [{ at: 250, label: '06:00' }],
  decades: [
    { us: 1_000, label: '1 ms' },
    { us: 10_000, label: '10 ms' },
    { us: 100_000, label: '100 ms' },
  ],
};
const drawn = renderToString(<Strip strip={strip} />);

test('it is one picture with one sentence', () => {
  expect(drawn).toMatch(/^<svg class="strip" role="img" aria-label="Last 24 hours: &lt;b>fine/);
  expect(drawn.match(/role="img"/g)).toHaveLength(1);
});

test('a decade is as high as the next, and the line breaks where there is no value', () => {
  expect(drawn).toContain('<path class="typical" d="M0,94L500,50M1000,6Z"></path>');
});

test('what is slower than the scale stays inside of the picture', () => {
  const large = renderToString(<Strip strip={strip} large />);
  expect(large).toContain('<path class="slow" d="M0,80.8L500,36.8M1000,6Z"></path>');
  expect(drawn).not.toContain('class="slow"');
});

test('down lies on its pattern, in its place; where nobody looked is nothing, not even the line at the foot', () => {
  expect(drawn).toContain(
    '<rect class="ground is-down" fill="url(#ground-down)" x="60%" width="30%" y="0" height="100%"></rect>',
  );
  expect(drawn.match(/<rect/g)).toHaveLength(1);
  expect(
    [...drawn.matchAll(/class="watched" x1="([\d.]+%)" x2="([\d.]+%)"/g)].map((m) => m.slice(1)),
  ).toEqual([
    ['0%', '10%'],
    ['25%', '100%'],
  ]);
});

test('single failures and hours have their strokes', () => {
  expect(drawn).toContain('class="miss" x1="5%" x2="5%"');
  expect(drawn).toContain('class="hour" x1="25%" x2="25%"');
});

test('the patterns that the grounds refer to are there', () => {
  const patterns = renderToString(<Patterns />);
  for (const [, id] of drawn.matchAll(/url\(#([\w-]+)\)/g))
    expect(patterns).toContain(`id="${id}"`);
  expect(patterns).toContain('id="ground-degraded"');
});

test('hours and latencies are written where they belong', () => {
  expect(renderToString(<Hours ticks={strip.ticks} day={strip} />)).toContain(
    '<text x="25%" y="100%">06:00</text>',
  );
  expect(renderToString(<Scale decades={strip.decades} />)).toMatch(
    /y="100%">1 ms<.*y="50%">10 ms<.*y="0%">100 ms</,
  );
});

test('an empty day draws nothing and does not break', () => {
  const empty: StripProps = {
    ...strip,
    points: [],
    misses: [],
    ticks: [],
    grounds: [{ state: 'unobserved', from: 0, to: 1_000 }],
  };
  expect(renderToString(<Strip strip={empty} />)).toMatch(/<path class="typical" d(="")?>/);
});
