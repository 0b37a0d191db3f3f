/** The report of a month as a page, and its files. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { hourMs, type Scene, sceneOf, words } from './scene.ts';

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill, { answers: false });
});
afterAll(() => scene.app.close());

const ask = (url: string, of = scene) => of.app.inject({ url, headers: { accept: 'text/html' } });
const text = async (url: string, of = scene) => words((await ask(url, of)).body);

test('without a month it leads to the current one', async () => {
  const answer = await ask('/report');
  expect(answer.statusCode).toBe(303);
  expect(answer.headers.location).toBe('/report/2026-11');
});

test('the month in a sentence, and up to when that is', async () => {
  const said = await text('/report/2026-11');
  expect(said).toContain(
    'November 2026 All 9 services were up 99.91 % of the time (99.89 to 99.91 %);',
  );
  expect(said).toMatch(/4 outages, 1 h 28 min in all/);
  expect(said).toContain(
    'The month is not over: the figures are those up to 2026-11-25 09:42. Times are those of Europe/Dublin.',
  );
});

test('each group, and each service with its figures in words', async () => {
  const said = await text('/report/2026-11');
  expect(said).toMatch(
    /Data All together 99\.8\d % All of it was up for so much of the time; mean of its services/,
  );
  expect(said).toMatch(
    /Order book 99\.8\d % 99\.8\d to 99\.8\d % 3 outages; down for 1 h; mean time to restoration 16 min; the longest 29 min\./,
  );
  expect(said).toContain('Name server 100 % No outage');
});

test('every outage in order, with its cause and the way to its page', async () => {
  const { body } = await ask('/report/2026-11');
  expect(words(body)).toMatch(
    /Outages 14 Nov, 09:41 2\d min \([^)]+\) Order book ?\. Port: Nothing listens .* 24 Nov, 14:41 .* 09:13 .* Shop ?\. Behind Order book ?\. Answer: It answers 503/,
  );
  const outage = scene.standings.get('shop')?.outage?.id;
  expect(body).toContain(`href="/outages/${outage}"`);
});

test('leads to the month before, to the one after where it has begun, and to its files', async () => {
  const november = (await ask('/report/2026-11')).body;
  expect(november).toContain('href="/report/2026-10">October 2026<');
  expect(november).not.toContain('December');
  expect(november).toContain('href="/report/2026-11.csv"');
  const october = (await ask('/report/2026-10')).body;
  expect(october).toContain('href="/report/2026-11">November 2026<');
  // In September nobody had looked yet: further back there is nothing to read.
  expect((await ask('/report/2026-09')).body).not.toContain('href="/report/2026-08"');
});

test('over the turn of a year too', async () => {
  const winter = await sceneOf(
    [{ id: 'a', name: 'A', past: [{ state: 'up', agoMs: 800 * 24 * hourMs }] }],
    {
      answers: false,
    },
  );
  const { body } = await ask('/report/2026-01', winter);
  expect(body).toContain('href="/report/2025-12">December 2025<');
  expect((await ask('/report/2025-12', winter)).body).toContain(
    'href="/report/2026-01">January 2026<',
  );
  await winter.app.close();
});

describe('for programs', () => {
  test('the same as a table', async () => {
    const answer = await ask('/report/2026-11.csv');
    expect(answer.headers['content-type']).toBe('text/csv; charset=utf-8');
    expect(answer.headers['content-disposition']).toBe(
      'attachment; filename="rollcall-2026-11.csv"',
    );
    expect(answer.body).toContain('Order book');
  });

  test('the same as JSON', async () => {
    const answer = await ask('/report/2026-11.json');
    expect(answer.headers['content-type']).toBe('application/json; charset=utf-8');
    expect(answer.json()).toMatchObject({ month: '2026-11' });
  });
});

test.each([
  '/report/2026-12',
  '/report/2026-13',
  '/report/november',
  '/report/2026-11.pdf',
  '/report/2026-11.csv.json',
  '/report/..%2f..%2fetc%2fpasswd',
  `/report/${'9'.repeat(90)}`,
])('%s is no report', async (url) => {
  expect((await ask(url)).statusCode).toBe(404);
});
