/** `application/health+json`: draft-inadarei-api-health-check-06 §3. */
import { describe, expect, test } from 'vitest';
import { judgeAnswer } from '../../src/probe/http-answer.ts';
import { judgeHealth, saysHealth } from '../../src/probe/http-health.ts';

const report = (fields: unknown, status = 200) => ({
  status,
  body: Buffer.from(typeof fields === 'string' ? fields : JSON.stringify(fields)),
});

test.each([
  ['application/health+json', true],
  ['application/health+json; charset=utf-8', true],
  ['Application/Health+JSON', true],
  ['application/json', false],
  ['application/health+jsonp', false],
  [undefined, false],
])('the type %s is a report: %s', (type, is) => {
  expect(saysHealth({ 'content-type': type })).toBe(is);
});

describe('words (§3.1), in any case', () => {
  test.each([
    ['pass', null],
    ['ok', null],
    ['UP', null],
    ['warn', 'warns'],
    ['Warn', 'warns'],
    ['fail', 'server-error'],
    ['error', 'server-error'],
    ['DOWN', 'server-error'],
    ['splendid', 'malformed'],
    ['constructor', 'malformed'],
    ['', 'malformed'],
    [7, 'malformed'],
  ])('%j is %s', (status, reason) => {
    expect(judgeHealth(report({ status }))?.reason ?? null).toBe(reason);
  });

  test.each(['', '[]', 'null', '"pass"', '{"status":', '{}'])('%j is no report', (body) => {
    expect(judgeHealth(report(body))?.reason).toBe('malformed');
  });
});

describe('why', () => {
  test('its own words are told', () => {
    expect(judgeHealth(report({ status: 'fail', output: 'disk\u0007 full' }, 503))?.detail).toBe(
      'its health report says "fail" (status 503): disk full',
    );
  });

  test('otherwise the checks that do not pass', () => {
    // Names as in the example of §4.
    const checks = {
      'cassandra:responseTime': [{ status: 'pass' }],
      'cassandra:connections': [{ status: 'pass' }, { status: 'warn' }],
      uptime: [{ componentType: 'system' }],
      'cpu:utilization': { status: 'FAIL' },
    };
    expect(judgeHealth(report({ status: 'warn', checks }))?.detail).toBe(
      'its health report says "warn" (status 200): cassandra:connections, cpu:utilization',
    );
  });

  test('ten thousand checks do not swamp the detail', () => {
    const checks = Object.fromEntries(
      Array.from({ length: 10_000 }, (_, index) => [`check-${index}`, [{ status: 'fail' }]]),
    );
    expect(judgeHealth(report({ status: 'fail', checks }))?.detail.length).toBeLessThan(300);
  });
});

describe('where word and status disagree the worse counts', () => {
  const judged = (word: string, status: number, method = 'GET') =>
    judgeAnswer(
      {
        ...report({ status: word }, status),
        headers: { 'content-type': 'application/health+json' },
        cut: false,
        version: 'HTTP/1.1',
      },
      {
        url: new URL('http://shop.fernhill.home.arpa/health'),
        method,
        withAccount: false,
        expect: {},
        follow: true,
      },
    )?.reason ?? null;

  test.each([
    ['pass', 200, null],
    ['warn', 200, 'warns'],
    ['fail', 200, 'server-error'],
    ['pass', 503, 'server-error'],
    ['warn', 503, 'server-error'],
    ['fail', 503, 'server-error'],
    ['warn', 404, 'wrong-status'],
    ['fail', 404, 'server-error'],
    ['fail', 429, 'server-error'],
    ['splendid', 500, 'server-error'],
  ])('%s with %d is %s', (word, status, reason) => {
    expect(judged(word, status)).toBe(reason);
  });

  test('an answer to HEAD has the type of a report and no report', () => {
    expect(judged('fail', 200, 'HEAD')).toBeNull();
  });
});
