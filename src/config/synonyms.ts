/** Words that people bring along for our keys. Only used to ask "did you mean …?", never accepted. */
import { nearest, sameWord } from './nearest.ts';

const synonyms: Readonly<Record<string, readonly string[]>> = {
  // the whole file
  board: ['page', 'dashboard', 'server', 'web', 'ui', 'general', 'global'],
  services: ['service', 'monitors', 'checks', 'targets', 'endpoints', 'hosts', 'sites', 'probes'],
  tell: ['notify', 'notifications', 'alerts', 'alerting', 'channels', 'webhooks', 'contacts'],
  planned: ['maintenance', 'maintenances', 'downtime', 'downtimes', 'windows', 'silences', 'plan'],
  jobs: ['job', 'cron', 'crons', 'cronjobs', 'tasks', 'heartbeats', 'scheduled', 'backups'],
  pulse: ['heartbeat', 'watchdog', 'deadman', 'deadMansSwitch', 'ping', 'alive', 'beat'],
  defaults: ['default', 'common', 'settings'],
  household: ['family', 'public', 'guests', 'guest', 'home'],
  // the board
  title: ['heading', 'caption'],
  address: ['publicUrl', 'externalUrl', 'siteUrl', 'url', 'link'],
  listen: ['address', 'bind', 'port', 'addr', 'host'],
  timezone: ['tz', 'zone'],
  passphrase: ['password', 'passwd', 'pwd', 'pass', 'login', 'secret', 'auth'],
  tokens: ['token', 'apiKeys', 'apiKey', 'bearer', 'keys'],
  base: ['path', 'basePath', 'prefix', 'subpath', 'root', 'baseUrl'],
  proxies: ['proxy', 'trustProxy', 'trustedProxies', 'trusted'],
  // the record
  record: ['history', 'storage', 'database', 'data', 'retention', 'backups', 'backup'],
  keep: ['retention', 'retain', 'keepFor', 'history', 'maxAge'],
  backup: ['backups', 'copy', 'copies', 'dump'],
  to: ['folder', 'path', 'dir', 'directory', 'target', 'destination'],
  days: ['daily', 'keepDays', 'keepDaily'],
  weeks: ['weekly', 'keepWeeks', 'keepWeekly'],
  // how a service is asked
  every: ['interval', 'period', 'frequency', 'freq', 'schedule', 'cycle', 'poll'],
  timeout: ['deadline', 'wait', 'limit'],
  confirm: ['retries', 'retry', 'attempts', 'failures', 'failureThreshold', 'tries', 'maxRetries'],
  restore: ['recover', 'recovery', 'successes', 'successThreshold', 'recoveries'],
  recheck: ['retryInterval', 'retryDelay', 'retryEvery', 'recheckEvery', 'backoff'],
  unanswered: ['silent', 'silence', 'noAnswer'],
  unsteady: ['flapping', 'flap', 'flaps', 'flapDetection', 'unstable'],
  settle: ['grace', 'gracePeriod', 'startupDelay', 'warmup', 'bootDelay'],
  // what a service is
  name: ['label', 'displayName', 'service'],
  id: ['slug', 'identifier'],
  group: ['category', 'section', 'folder', 'tag', 'tags', 'groups'],
  probe: ['check', 'url', 'uri', 'type', 'protocol', 'target', 'monitor', 'ask', 'address', 'host'],
  open: ['link', 'href', 'homepage', 'website', 'visit'],
  note: ['notes', 'description', 'comment', 'runbook', 'memo', 'info'],
  needs: ['depends', 'dependsOn', 'dependencies', 'requires', 'dependency', 'need', 'parent'],
  through: ['via', 'behind', 'gateway', 'by', 'proxy'],
  objective: ['slo', 'sla', 'target', 'goal', 'uptime', 'availability'],
  slow: ['slowAfter', 'latency', 'maxLatency', 'responseTime', 'threshold', 'degraded'],
  // inside a probe
  kind: ['type', 'protocol', 'proto', 'scheme'],
  host: ['hostname', 'server', 'address', 'ip', 'target'],
  url: ['uri', 'address', 'link', 'href', 'endpoint', 'target'],
  method: ['verb'],
  headers: ['header', 'httpHeaders'],
  expect: ['expected', 'expects', 'assert', 'match', 'accept', 'response'],
  status: ['statusCode', 'code', 'codes', 'statuses', 'httpStatus'],
  text: ['contains', 'keyword', 'body', 'string', 'content'],
  json: ['jsonPath', 'query'],
  path: ['jsonPath', 'expression', 'query'],
  equals: ['equal', 'value', 'is', 'expected'],
  certificate: ['tls', 'ssl', 'cert', 'certificates'],
  warn: ['warning', 'expiry', 'daysLeft', 'warnBefore'],
  trust: ['ca', 'verify', 'insecure', 'caFile', 'rejectUnauthorized'],
  connect: ['resolve', 'ip', 'connectTo'],
  user: ['username', 'login', 'account'],
  password: ['pass', 'passwd', 'pwd'],
  database: ['db', 'dbname'],
  send: ['payload', 'data', 'write'],
  // jobs
  allow: ['grace', 'gracePeriod', 'tolerance', 'late', 'margin', 'allowance'],
  limit: ['maxRuntime', 'runtime', 'maxDuration', 'timeout', 'longest'],
  token: ['secret', 'key', 'apiKey', 'bearer', 'password'],
  // planned windows
  schedule: ['cron', 'crontab', 'at', 'when', 'every', 'recurrence', 'rrule'],
  lasts: ['duration', 'for', 'length', 'lasting'],
  why: ['reason', 'description', 'comment', 'note'],
  from: ['start', 'begin', 'begins', 'starts', 'since', 'after'],
  // channels
  webhook: ['url', 'uri', 'endpoint', 'hook', 'target', 'address'],
  secret: ['key', 'token', 'signingKey', 'signature', 'signingSecret', 'hmac'],
  quiet: ['silent', 'mute', 'sleep', 'night', 'doNotDisturb', 'quietHours'],
  remind: ['reminder', 'reminders', 'repeat', 'again', 'resend'],
  fallback: ['backup', 'alternative', 'otherwise', 'instead', 'escalate'],
  digest: ['summary', 'summaries', 'reports', 'weekly', 'monthly'],
  urgent: ['critical', 'important', 'priority', 'severity'],
  only: ['filter', 'filters', 'when', 'for', 'match'],
  groups: ['group', 'categories', 'tags'],
  changes: ['change', 'events', 'event', 'states', 'on', 'state', 'status'],
};

/**
 * The key among `known` that `written` probably stands for, or null. A known synonym comes first, then a likeness to a
 * key, then a likeness to a synonym (`intervall` → `interval` → `every`).
 */
export function likelyKey(written: string, known: readonly string[]): string | null {
  const meanings = new Map<string, string>();
  for (const key of known) {
    for (const word of synonyms[key] ?? []) {
      if (!meanings.has(word)) meanings.set(word, key);
    }
  }
  const synonym = [...meanings.keys()].find((word) => sameWord(word, written));
  if (synonym !== undefined) return meanings.get(synonym) ?? null;
  const direct = nearest(written, known);
  if (direct !== null) return direct;
  const likeSynonym = nearest(written, meanings.keys());
  return likeSynonym === null ? null : (meanings.get(likeSynonym) ?? null);
}
