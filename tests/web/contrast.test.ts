/** Ink on paper can be read: contrast of the tokens by the formulas of WCAG 2.2, in both themes and in print. */
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';

const style = readFileSync(new URL('../../web/style.css', import.meta.url), 'utf8');

/** Relative luminance, WCAG 2.2 "relative luminance"; `#rgb` or `#rrggbb`. */
function luminance(colour: string): number {
  const digits = colour.slice(1);
  const hex = digits.length === 3 ? [...digits].map((digit) => digit + digit).join('') : digits;
  const [red, green, blue] = [0, 2, 4].map((at) => {
    const level = Number.parseInt(hex.slice(at, at + 2), 16) / 255;
    return level <= 0.040_45 ? level / 12.92 : ((level + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * (red ?? 0) + 0.7152 * (green ?? 0) + 0.0722 * (blue ?? 0);
}

/** Contrast ratio, WCAG 2.2 "contrast ratio": 1 to 21, never rounded. */
function contrast(one: string, other: string): number {
  const [dark = 0, light = 0] = [luminance(one), luminance(other)].sort((a, b) => a - b);
  return (light + 0.05) / (dark + 0.05);
}

/** Reference values J23 to J32, computed from the formulas of WCAG 2.2. */
test.each([
  ['#000000', '#ffffff', 21],
  ['#767676', '#ffffff', 4.542_224_959_605_253],
  ['#777777', '#ffffff', 4.478_089_453_577_214],
  ['#949494', '#ffffff', 3.033_469_825_738_474_7],
  ['#959595', '#ffffff', 2.995_346_135_708_811_4],
  ['#595959', '#ffffff', 7.004_729_208_035_935],
  ['#ff0000', '#ffffff', 3.998_476_770_753_998_5],
  ['#008000', '#ffffff', 5.137_402_780_824_574],
  ['#0000ff', '#ffffff', 8.592_471_358_428_805],
  ['#ffff00', '#ffffff', 1.073_839_230_926_569_9],
])('%s on %s has the published ratio', (ink, paper, ratio) => {
  expect(contrast(ink, paper)).toBeCloseTo(ratio, 12);
});

/** Examples that W3C prints itself, to one decimal: some of them cut, some rounded. */
test.each([
  ['#e5e5e5', '#6221ea', 5.6],
  ['#fff000', '#fff', 1.2],
  ['#ccc', '#fff', 1.6],
  ['#fff', '#6e747b', 4.7],
  ['#9d9d9d', '#fff', 2.7],
  ['#aaa', '#fff', 2.3],
  ['#3366cc', '#000', 3.9],
])('%s on %s has the ratio that W3C prints', (ink, paper, ratio) => {
  expect(Math.abs(contrast(ink, paper) - ratio)).toBeLessThan(0.1);
});

/** Colour tokens of the first `:root` after `start`. */
function tokensAfter(start: string): Readonly<Record<string, string>> {
  const from = style.indexOf(':root', style.indexOf(start));
  const block = style.slice(from, style.indexOf('}', from));
  return Object.fromEntries(
    [...block.matchAll(/--([\w-]+):\s*(#[0-9a-f]{3,6});/g)].map(([, name, value]) => [name, value]),
  );
}

const light = tokensAfter('');
const dark = { ...light, ...tokensAfter('(prefers-color-scheme: dark)') };
const print = { ...light, ...tokensAfter('@media print') };

describe.each([
  ['light', light],
  ['dark', dark],
  ['print', print],
])('%s', (_theme, tokens) => {
  const { paper = '' } = tokens;
  const on = (name: string) => contrast(tokens[name] ?? '', paper);

  test.each(['ink', 'ink-soft', 'link', 'up', 'degraded', 'down', 'unobserved'])(
    '%s, which is read, has at least 7:1 (WCAG 2.2, 1.4.6)',
    (name) => {
      expect(on(name)).toBeGreaterThanOrEqual(7);
    },
  );

  test.each(['up-sign', 'degraded-sign', 'down-sign', 'unobserved-sign', 'pen', 'pen-soft'])(
    '%s, which is seen, has at least 3:1 (WCAG 2.2, 1.4.11)',
    (name) => {
      expect(on(name)).toBeGreaterThanOrEqual(3);
    },
  );

  test.each(['ink-soft', 'pen'])('%s is as plain on shaded ground', (name) => {
    expect(contrast(tokens[name] ?? '', tokens['shade'] ?? '')).toBeGreaterThanOrEqual(3);
  });
});

test('the dark theme sets every colour anew', () => {
  const names = Object.keys(light);
  expect(names.length).toBeGreaterThan(14);
  expect(Object.keys(tokensAfter('(prefers-color-scheme: dark)')).sort()).toEqual(names.sort());
});

test('every colour stands in a token', () => {
  const afterTokens = style.slice(style.indexOf('/* The page. */'), style.indexOf('@media print'));
  expect(afterTokens).not.toMatch(/#[0-9a-f]{3,8}\b|rgba?\(|hsla?\(/i);
});
