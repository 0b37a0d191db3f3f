/** One answer of each route for programs, for the API's description. A test holds them against the schemas. */

const at = '2026-11-25T09:42:10.000Z';

const observation = {
  at: '2026-11-25T09:42:00.000Z',
  outcome: 'failed',
  tookUs: 412,
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on db.fernhill.home.arpa:5432',
  hint: 'Is the service started? Look at its container or unit and its log.',
  facts: {},
};

const service = {
  id: 'order-book',
  name: 'Order book',
  group: 'Data',
  kind: 'postgres',
  open: 'https://orders.fernhill.home.arpa/',
  needs: ['nas'],
  through: [],
  state: 'down',
  since: '2026-11-25T09:14:05.000Z',
  planned: false,
  suspect: false,
  unsteady: false,
  cause: null,
  last: observation,
  days30: {
    estimate: 0.99862,
    low: 0.99856,
    high: 0.99868,
    outages: 3,
    mttrMs: 930_000,
    mtbfMs: 862_808_333,
    unobservedMs: 0,
  },
};

const planned = {
  id: 'sunday-updates.2026-11-25T09:30:00.000Z',
  name: 'Sunday updates',
  why: null,
  from: '2026-11-25T09:30:00.000Z',
  to: '2026-11-25T10:15:00.000Z',
  services: ['order-book'],
  origin: 'schedule',
};

const run = {
  id: '0d7c3a52-6b0e-4f0e-9d55-6f0f3d3f7c11',
  job: 'nightly-backup',
  beganAt: '2026-11-25T02:15:00.000Z',
  endedAt: '2026-11-25T02:24:40.000Z',
  exit: 0,
  tookMs: 580_000,
  sizeBytes: 14_210,
  value: 9_800_000_000,
  unit: 'bytes',
  output: 'copied 48,213 files',
};

const job = {
  id: 'nightly-backup',
  name: 'Nightly backup',
  group: 'Night',
  state: 'done',
  due: '15 2 * * * (Europe/Dublin)',
  dueAt: '2026-11-26T02:15:00.000Z',
  allowMs: 1_200_000,
  limitMs: 10_800_000,
  reason: null,
  detail: null,
  last: run,
};

const outage = {
  id: 'order-book.mwvwpqo8',
  service: 'order-book',
  lastGoodAt: '2026-11-25T09:13:05.000Z',
  firstFailedAt: '2026-11-25T09:14:05.000Z',
  confirmedAt: '2026-11-25T09:14:10.000Z',
  lastFailedAt: '2026-11-25T09:42:00.000Z',
  restoredAt: null,
  layer: observation.layer,
  reason: observation.reason,
  detail: observation.detail,
  hint: observation.hint,
  cause: null,
};

const outageInFull = {
  ...outage,
  knownAt: '2026-11-25T09:20:00.000Z',
  observations: [observation],
  notices: [
    {
      id: '8f14e45f-ceea-467f-9d63-3c3f8f2b6a10',
      type: 'rollcall.service.down',
      at: '2026-11-25T09:14:10.000Z',
      summary: 'Order book is down: nothing listens on db.fernhill.home.arpa:5432.',
      channel: 'phone',
      state: 'delivered',
      foldedInto: null,
      fallbackFor: null,
      attempts: [
        { at: '2026-11-25T09:14:11.000Z', tookMs: 84, status: 204, detail: 'answered 204' },
      ],
    },
  ],
  notes: [{ at: '2026-11-25T09:30:00.000Z', text: 'The disk is full: old backups.' }],
};

const availability = {
  from: '2026-11-01T00:00:00.000Z',
  to: at,
  estimate: 0.9983,
  low: 0.99823,
  high: 0.99838,
  upMs: 2_104_955_000,
  downMs: 3_575_000,
  degradedMs: 0,
  unobservedMs: 0,
  plannedMs: 0,
  externallyDisabledMs: 0,
  outages: 3,
  unconfirmed: 0,
  mttrMs: 930_000,
  mtbfMs: 701_651_667,
  mtbfLowMs: 271_479_010,
  mtbfHighMs: 2_574_265_644,
  mutMs: 701_651_667,
  mdtMs: 1_191_667,
  detectionDelayMs: 35_000,
  longest: {
    outage: outage.id,
    lengthMs: 1_715_000,
    lowMs: 1_675_000,
    highMs: 1_745_000,
    open: true,
  },
  shortest: null,
  surelySeenMs: 70_000,
  budget: {
    objective: 0.995,
    allowedMs: 10_542_650,
    usedMs: 3_575_000,
    leftMs: 6_967_650,
    leftLowMs: 6_819_450,
    leftHighMs: 7_129_150,
    burnRate: 0.34,
  },
};

const observations = {
  from: '2026-11-25T08:42:10.000Z',
  to: at,
  stepMs: 3_600_000,
  points: [
    {
      at: '2026-11-25T08:42:10.000Z',
      count: 60,
      failed: 28,
      p50Us: 4_046,
      p95Us: 7_667,
      p99Us: 8_614,
    },
  ],
};

const groups = {
  from: '2026-11-24T09:42:10.000Z',
  to: at,
  groups: [
    {
      name: 'Data',
      members: ['order-book', 'kiln-logger'],
      estimate: 0.9739,
      low: 0.97135,
      high: 0.97506,
      mean: 0.98695,
      upMs: 84_145_000,
      downMs: 2_255_000,
      unobservedMs: 0,
      plannedMs: 0,
      unseen: [],
    },
  ],
};

const health = {
  status: 'pass',
  version: '0.1.0',
  serviceId: '5c2f0f0e-1111-4111-8111-111111111111',
  description: 'Rollcall: calls the roll of the services on this network',
  notes: [],
  checks: {
    'record:writable': [{ componentType: 'datastore', status: 'pass', time: at }],
  },
};

const roll = {
  at,
  sentence: 'Order book has been down since 09:14; 7 other services answer; 1 job is in order.',
  counts: { up: 8, degraded: 0, down: 1, unobserved: 0, planned: 0 },
  jobs: { due: 0, running: 0, done: 1, failed: 0, overdue: 0, hanging: 0 },
  trouble: [service.id],
};

const live = `event: observation
data: ${JSON.stringify({ service: service.id, ...observation })}

id: mwvwpqo8-1
event: change
data: {"service":"order-book","from":"up","to":"down","since":"${service.since}","at":"${outage.confirmedAt}","cause":null,"outage":"${outage.id}"}

`;

const metrics = `# TYPE rollcall_service_outages counter
# HELP rollcall_service_outages Outages that were confirmed since Rollcall started.
rollcall_service_outages_total{service="order-book"} 3
# EOF
`;

const calendar = `BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Rollcall//Rollcall//EN
BEGIN:VEVENT
UID:urn:uuid:5c2f0f0e-1111-5111-8111-111111111111
DTSTAMP:20261125T094210Z
DTSTART:20261125T093000Z
DTEND:20261125T101500Z
SUMMARY:Sunday updates
END:VEVENT
END:VCALENDAR
`;

/** By path, as the description names it. */
export const examples: Readonly<Record<string, unknown>> = {
  '/api/v1/roll': roll,
  '/api/v1/services': { services: [service] },
  '/api/v1/services/{id}': service,
  '/api/v1/services/{id}/observations': observations,
  '/api/v1/services/{id}/availability': availability,
  '/api/v1/groups': groups,
  '/api/v1/outages': { complete: true, outages: [outage] },
  '/api/v1/outages/{id}': outageInFull,
  '/api/v1/planned': { running: [planned], toCome: [], past: [] },
  '/api/v1/jobs': { jobs: [job] },
  '/api/v1/jobs/{id}/runs': { complete: true, runs: [run] },
  '/jobs/{id}/began': {
    ...run,
    endedAt: null,
    exit: null,
    tookMs: null,
    sizeBytes: null,
    value: null,
    unit: null,
    output: null,
  },
  '/jobs/{id}/ended': run,
  '/healthz': health,
  '/live': live,
  '/metrics': metrics,
  '/planned.ics': calendar,
};
