/** Jobs as they are written: when they are due, what they may take, and one namespace with services. */
import { expect, test } from 'vitest';
import { secretMasker } from '../../src/config/mask.ts';
import { cardsOf } from '../../src/config/roll.ts';
import { complaints, load } from '../support/config-text.ts';

const services = 'services: [{ name: NAS, group: Data, probe: "tcp://nas:1" }]';
const config = (jobs: string, more = '') => {
  const loaded = load(`board: { timezone: Europe/Dublin }\n${services}\n${more}\njobs: [${jobs}]`);
  if (!loaded.ok) throw new Error(loaded.mistakes.map(({ message }) => message).join('; '));
  return loaded;
};
const said = (jobs: string) =>
  complaints(`${services}\njobs: [${jobs}]`).map((line) => line.replace(/^\S+ /, ''));

test('a job has its schedule on the clock of the board, an hour, and a day for a run', () => {
  const [job] = config('{ name: Nightly backup, schedule: "15 2 * * *" }').config.jobs;
  expect(job).toEqual({
    id: 'nightly-backup',
    name: 'Nightly backup',
    group: null,
    open: null,
    note: null,
    needs: [],
    objective: null,
    urgent: false,
    plan: {
      id: 'nightly-backup',
      due: { kind: 'schedule', schedule: '15 2 * * *' },
      timezone: 'Europe/Dublin',
      allowMs: 3_600_000,
      limitMs: 86_400_000,
    },
    fingerprint: expect.stringMatching(/^[0-9a-f]{32}$/),
    token: null,
  });
});

test('all of it can be said', () => {
  const token = 'a'.repeat(32);
  const [job] = config(
    `{ name: Import, id: stock, group: Data, open: "https://shop.example/", note: In the shop., needs: [nas], objective: 99%, urgent: true, every: 7d, timezone: Australia/Lord_Howe, allow: 20m, limit: 3h, token: ${token} }`,
  ).config.jobs;
  expect(job).toMatchObject({
    id: 'stock',
    needs: ['nas'],
    objective: 0.99,
    urgent: true,
    plan: {
      due: { kind: 'every', everyMs: 7 * 86_400_000 },
      allowMs: 1_200_000,
      limitMs: 10_800_000,
    },
    token,
  });
});

test('what makes it due makes its fingerprint; what is allowed does not', () => {
  const printOf = (job: string) => config(job).config.jobs[0]?.fingerprint;
  const nightly = printOf('{ name: A, schedule: "15 2 * * *" }');
  expect(printOf('{ name: B, schedule: "15 2 * * *", allow: 5m, limit: 1h }')).toBe(nightly);
  expect(printOf('{ name: A, schedule: "16 2 * * *" }')).not.toBe(nightly);
  expect(printOf('{ name: A, schedule: "15 2 * * *", timezone: UTC }')).not.toBe(nightly);
  const pause = printOf('{ name: A, every: 6h }');
  expect(printOf('{ name: A, every: 6h, timezone: UTC }')).toBe(pause);
});

test('it is on the roll after the services', () => {
  const cards = cardsOf(
    config('{ name: A, schedule: "15 2 * * *", needs: [nas] }, { name: B, every: 6h }').config,
  );
  expect(cards.map(({ id, kind, where, needs }) => ({ id, kind, where, needs }))).toEqual([
    { id: 'nas', kind: 'tcp', where: 'nas:1', needs: [] },
    { id: 'a', kind: 'job', where: '15 2 * * * (Europe/Dublin)', needs: ['nas'] },
    { id: 'b', kind: 'job', where: 'every 6h', needs: [] },
  ]);
});

test('its token is a secret, wherever it comes from', () => {
  const token = 'kiln-kiln-kiln-kiln-kiln-kiln';
  const { secrets } = config(`{ name: A, every: 6h, token: ${token} }`);
  expect(secretMasker(secrets)(`token ${token}`)).toBe('token ••••');
});

test('windows and channels may name jobs and their groups', () => {
  const { planned, tell } = config(
    '{ name: A, group: Night, every: 6h }',
    `planned: [{ name: W, schedule: "0 4 * * 0", lasts: 45m, groups: [Night] }]
tell: [{ name: phone, webhook: "https://hooks.example/", only: { services: [a], groups: [Night] } }]`,
  ).config;
  expect(planned[0]?.serviceIds).toEqual(['a']);
  expect(tell[0]?.only).toMatchObject({ services: ['a'], groups: ['Night'] });
});

test.each([
  ['{ name: A }', /^`schedule` of A is missing: expected when it is due, such as "15 2 \* \* \*"/],
  ['{ name: A, schedule: "15 2 * * *", every: 6h }', /`every` of A: found "6h", expected one of/],
  ['{ name: A, schedule: "61 2 * * *" }', /`schedule` of A.*61/],
  ['{ name: A, schedule: "15 2 * *" }', /expected five fields/],
  ['{ name: A, every: 10s }', /expected a duration from 1m to 400d/],
  ['{ name: A, every: 6h, token: short }', /expected at least 20 characters/],
  ['{ name: A, every: 6h, token: "with spaces in between it" }', /letters, digits and/],
  ['{ name: A, every: 6h, timezone: Dublin }', /expected the name of a time zone/],
  ['{ name: A, every: 6h, grace: 5m }', /`grace`.*did you mean `allow`/],
  ['{ name: A, cron: "15 2 * * *" }', /`cron`.*did you mean `schedule`/],
  [
    '{ name: A, every: 6h, needs: [nass] }',
    /`needs` of A: there is no service `nass`; did you mean `nas`/,
  ],
  ['{ name: A, every: 6h, needs: [a] }', /a job cannot name itself here/],
  ['{ name: NAS, every: 6h }', /the id `nas` is taken already \(NAS, line 1/],
])('%s is told: %s', (job, message) => {
  expect(said(job).join('\n')).toMatch(message);
});

test('services and jobs may need one another, but not in a circle', () => {
  const text = (needs: string) => `
    services: [{ name: NAS, probe: "tcp://nas:1", needs: [${needs}] }]
    jobs: [{ name: A, every: 6h, needs: [nas] }, { name: B, every: 6h }]`;
  expect(complaints(text('b'))).toEqual([]);
  expect(complaints(text('a')).join()).toMatch(/go round in a circle: nas -> a -> nas/);
});

test('whoever has jobs alone needs no service', () => {
  const jobs = 'jobs: [{ name: Backup, every: 1d }]';
  for (const text of [jobs, `services: []\n${jobs}`]) {
    const loaded = load(text);
    expect(loaded.ok && [loaded.config.services, loaded.config.jobs.length]).toEqual([[], 1]);
  }
  expect(complaints('jobs: []')).toEqual([
    '1:1 `services` is missing: expected a list of services, each beginning with `- name:`',
  ]);
  expect(complaints('services: []\njobs: []')).toEqual([
    '1:11 `services`: found an empty list, expected at least one service',
  ]);
});
