/** Metrics, read by a reader of its own that holds to the specification, and held against the API. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { happenings } from '../../src/base/happenings.ts';
import { expositionOf } from '../../src/serve/openmetrics.ts';
import { type ReadFamily, readOpenMetrics } from '../support/openmetrics.ts';
import { fernhill } from './fernhill.ts';
import { hourMs, minuteMs, now, refused, type Scene, sceneOf } from './scene.ts';

describe('the reader', () => {
  const end = '# EOF\n';
  // OpenMetrics specification, its test cases, as gathered in J.3 of the reference values.
  test.each([
    '# TYPE a counter\n# HELP a help\na_total 1\n# EOF\n',
    '# TYPE a counter\n# HELP a help\na_total 1\n# EOF',
    `a NaN\n${end}`,
    `# TYPE a stateset\na{a="bar"} 0\na{a="foo"} 1.0\n${end}`,
    `# TYPE a summary\na_count 1\na_sum 2\n${end}`,
    end,
  ])('takes %j', (text) => {
    expect(() => readOpenMetrics(text)).not.toThrow();
  });

  test.each([
    '# TYPE a counter\n# HELP a help\na_total 1\n',
    `a 1\n${end}a 2\n`,
    `a 1\n\n${end}`,
    `# TYPE a counter\na_total -1\n${end}`,
    `# TYPE a counter\na_total NaN\n${end}`,
    `# TYPE a counter\na 1\n${end}`,
    `# TYPE a stateset\na 0\n${end}`,
    `# TYPE a stateset\na{a="foo"} 2.0\n${end}`,
    `# a comment\na 1\n${end}`,
    `# TYPE a_seconds gauge\n# UNIT a_seconds bytes\na_seconds 1\n${end}`,
    `a{b="c} 1\n${end}`,
    `a{b="c",b="d"} 1\n${end}`,
    `a 1\na 2\n${end}`,
    `a{b="\\x"} 1\n${end}`,
    ` a 1\n${end}`,
    `a  1\n${end}`,
    `a 1\nb 1\na{c="d"} 1\n${end}`,
  ])('refuses %j', (text) => {
    expect(() => readOpenMetrics(text)).toThrow();
  });
});

describe('the writer', () => {
  test('escapes what would end a value (specification, "Escaping")', () => {
    const text = expositionOf([
      {
        name: 'a',
        type: 'gauge',
        help: 'with "quotes", a \\ and a\nline',
        samples: [{ labels: { foo: 'b"a\nr\\' }, value: 1 }],
      },
    ]);
    expect(text).toContain('a{foo="b\\"a\\nr\\\\"} 1\n');
    const [family] = readOpenMetrics(text);
    expect(family?.samples[0]?.labels['foo']).toBe('b"a\nr\\');
    expect(family?.help).toBe('with "quotes", a \\ and a\nline');
  });

  test('leaves out a family without samples, and ends all the same', () => {
    expect(expositionOf([{ name: 'a', type: 'gauge', help: 'x', samples: [] }])).toBe('# EOF\n');
  });

  test.each([
    [0.1 + 0.2, '0.30000000000000004'],
    [1e-7, '1e-7'],
    [1e21, '1e+21'],
    [Number.POSITIVE_INFINITY, '+Inf'],
    [Number.NEGATIVE_INFINITY, '-Inf'],
    [Number.NaN, 'NaN'],
  ])('writes %d so that it is read again', (value, written) => {
    const text = expositionOf([
      { name: 'a', type: 'gauge', help: 'x', samples: [{ labels: {}, value }] },
    ]);
    expect(text).toContain(`\na ${written}\n`);
    expect(readOpenMetrics(text)[0]?.samples[0]?.value).toBe(value);
  });
});

describe('the board’s', () => {
  const house = happenings(() => {});
  let scene: Scene;
  beforeAll(async () => {
    scene = await sceneOf([...fernhill, { id: 'odd', name: 'A "b"\\\n{c}', past: [] }], {
      listen: house.listen,
    });
  });
  afterAll(() => scene.app.close());

  async function read(): Promise<readonly ReadFamily[]> {
    const answer = await scene.app.inject({ url: '/metrics' });
    expect(answer.statusCode).toBe(200);
    expect(answer.headers['content-type']).toBe(
      'application/openmetrics-text; version=1.0.0; charset=utf-8',
    );
    expect(answer.headers['cache-control']).toBe('no-store');
    return readOpenMetrics(answer.body);
  }

  const family = (families: readonly ReadFamily[], name: string) =>
    families.find((one) => one.name === name) ?? expect.fail(`no ${name}`);
  const measured = (
    families: readonly ReadFamily[],
    name: string,
    labels: Record<string, string>,
    sample = name,
  ) =>
    family(families, name).samples.find(
      (one) =>
        one.name === sample &&
        Object.entries(labels).every(([label, text]) => one.labels[label] === text),
    )?.value;

  test('say of each service what the API says', async () => {
    const families = await read();
    const { services } = (await scene.app.inject({ url: '/api/v1/services' })).json();
    expect(services).toHaveLength(fernhill.length + 1);
    for (const { id, name, state, days30 } of services) {
      const standing = family(families, 'rollcall_service_state').samples.filter(
        ({ labels }) => labels['service'] === id,
      );
      expect(standing.filter(({ value }) => value === 1).map(({ labels }) => labels)).toEqual([
        { service: id, rollcall_service_state: state },
      ]);
      expect(standing).toHaveLength(4);
      const info = family(families, 'rollcall_service').samples.find(
        ({ labels }) => labels['service'] === id,
      );
      expect(info?.labels['name']).toBe(name.replace('\n', ' '));
      const share = measured(families, 'rollcall_service_availability_ratio', {
        service: id,
        bound: 'estimate',
      });
      expect(share ?? null).toBe(days30.estimate);
    }
    const p50 = measured(families, 'rollcall_service_answer_seconds', {
      service: 'order-book',
      quantile: '0.5',
    });
    expect(p50).toBeGreaterThan(0.002);
    expect(p50).toBeLessThan(0.01);
  });

  test('have a type, a help and, where they have a unit, a name that says it', async () => {
    for (const { name, type, help, unit } of await read()) {
      expect(name).toMatch(/^rollcall_[a-z_]+$/);
      expect(type).not.toBe('unknown');
      expect(help).toMatch(/^[A-Z].*\.$/);
      if (/_(seconds|bytes|ratio)$/.test(name)) expect(name.endsWith(unit ?? '?')).toBe(true);
    }
  });

  test('count what happens', async () => {
    const shop = { service: 'shop' };
    const observation = {
      at: now,
      outcome: 'answered',
      tookUs: 250_000,
      phases: {},
      trouble: null,
      facts: {},
    } as const;
    const failed = { ...observation, outcome: 'failed', trouble: refused } as const;
    const decided = { since: now, decidedAt: now, causeId: null, outageId: 'a' };
    const before = await read();
    house.tell({ serviceId: 'shop', observation, change: null });
    house.tell({
      serviceId: 'shop',
      observation: failed,
      change: { from: 'up', to: 'down', ...decided },
    });
    await scene.clock.advance(hourMs);
    house.tell({ serviceId: 'shop', observation, change: { from: 'down', to: 'up', ...decided } });
    await scene.clock.advance(minuteMs);
    house.tell({ serviceId: 'nobody', observation, change: null });
    const after = await read();
    const grown = (name: string, labels: Record<string, string>, sample: string) =>
      (measured(after, name, labels, sample) ?? Number.NaN) -
      (measured(before, name, labels, sample) ?? Number.NaN);
    const total = (name: string, labels: Record<string, string>) =>
      grown(name, labels, `${name}_total`);
    expect(total('rollcall_service_observations', { ...shop, outcome: 'answered' })).toBe(2);
    expect(total('rollcall_service_observations', { ...shop, outcome: 'failed' })).toBe(1);
    expect(total('rollcall_service_outages', shop)).toBe(1);
    const answers = 'rollcall_service_answer_seconds';
    expect(grown(answers, shop, `${answers}_count`)).toBe(2);
    expect(grown(answers, shop, `${answers}_sum`)).toBeCloseTo(0.5);
    expect(total('rollcall_service_state_seconds', { ...shop, state: 'down' })).toBe(3_600);
    expect(total('rollcall_service_state_seconds', { ...shop, state: 'up' })).toBe(60);
    expect(
      measured(after, 'rollcall_service_outages', shop, 'rollcall_service_outages_created'),
    ).toBe(now / 1_000);
  });
});
