/**
 * The one table of what can be wrong: layer, reason, outcome, a sentence for people and where to look.
 * Probes pick a reason; nobody else decides what it means. The protocol sheets' own class words yield to it.
 */
import type { Outcome } from './values.ts';

export const layers = ['name', 'network', 'port', 'tls', 'protocol', 'answer', 'job'] as const;
export type Layer = (typeof layers)[number];

interface Meaning {
  readonly layer: Layer;
  readonly outcome: Exclude<Outcome, 'answered'>;
  /** Completes "<service> is down: …" or "… is degraded: …" when the probe has nothing more exact to say. */
  readonly sentence: string;
  /** Where to look. A probe may give a better one. */
  readonly hint: string;
}

const table = {
  // name: the host's name could not be turned into an address
  'not-found': {
    layer: 'name',
    outcome: 'failed',
    sentence: 'its name does not exist',
    hint: 'Check the host name in the configuration and the entry in your name server.',
  },
  'no-answer': {
    layer: 'name',
    outcome: 'failed',
    sentence: 'the name server did not answer',
    hint: 'Check that your name server runs and that this machine can reach it.',
  },
  'server-failure': {
    layer: 'name',
    outcome: 'failed',
    sentence: 'the name server failed to look its name up',
    hint: 'Look at the name server: it answered, but with an error of its own.',
  },
  // network: no way to the host
  unreachable: {
    layer: 'network',
    outcome: 'failed',
    sentence: 'its host cannot be reached',
    hint: 'Is the host switched on and connected? Look at the host, its cable or its virtual network.',
  },
  'no-route': {
    layer: 'network',
    outcome: 'failed',
    sentence: 'there is no route to its network',
    hint: 'Look at the network settings of this machine: routes, gateway, VPN.',
  },
  rejected: {
    layer: 'network',
    outcome: 'failed',
    sentence: 'a firewall refuses the way',
    hint: 'Look at the firewall rules on the host and on the way to it.',
  },
  // port: the host is there, the port is not
  refused: {
    layer: 'port',
    outcome: 'failed',
    sentence: 'nothing listens on its port',
    hint: 'Is the service started? Look at its container or unit and its log.',
  },
  'timed-out': {
    layer: 'port',
    outcome: 'failed',
    sentence: 'its port did not answer in time',
    hint: 'The host is off, hangs, or a firewall drops the packets silently.',
  },
  reset: {
    layer: 'port',
    outcome: 'failed',
    sentence: 'the connection was cut',
    hint: 'The service, or a proxy or firewall before it, cut the connection. Look at its log.',
  },
  silent: {
    layer: 'port',
    outcome: 'unproven',
    sentence: 'nothing came back, which this protocol allows',
    hint: 'Silence decides nothing here: host off, packet dropped, or keys that do not match.',
  },
  // tls
  expired: {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'its certificate has expired',
    hint: 'Renew the certificate and reload the service.',
  },
  'not-yet-valid': {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'its certificate is not valid yet',
    hint: 'Check the clocks: of this machine first, then of the one that made the certificate.',
  },
  'wrong-name': {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'its certificate is for another name',
    hint: 'Add this name to the certificate, or ask under a name that it carries.',
  },
  untrusted: {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'its certificate is not signed by an authority trusted here',
    hint: 'Name your own authority with `trust: file:…`, pin the key, or send the missing intermediate certificate.',
  },
  'pin-differs': {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'its key is not the pinned one',
    hint: 'If you changed the key, update the pin. If you did not, find out who answers there.',
  },
  'handshake-failed': {
    layer: 'tls',
    outcome: 'failed',
    sentence: 'the TLS handshake failed',
    hint: 'Does this port speak TLS, in a version and with a cipher that both sides accept?',
  },
  // protocol: something is there, it does not speak what was asked
  'other-protocol': {
    layer: 'protocol',
    outcome: 'failed',
    sentence: 'another protocol answers on its port',
    hint: 'Check host and port: something else listens there.',
  },
  'closed-early': {
    layer: 'protocol',
    outcome: 'failed',
    sentence: 'it closed the connection before it answered',
    hint: 'Look at its log, and whether a proxy before it lost the service behind.',
  },
  malformed: {
    layer: 'protocol',
    outcome: 'failed',
    sentence: 'its answer is broken',
    hint: 'Look at its log; check that host and port are the right ones.',
  },
  'no-reply': {
    layer: 'protocol',
    outcome: 'failed',
    sentence: 'it accepts connections but does not answer',
    hint: 'The process hangs or is overloaded. Look at its log, its memory and its disk.',
  },
  // answer: it speaks, and says that it cannot serve
  'starting-up': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'it is still starting up',
    hint: 'Wait; if it stays so, look at its log for a recovery that does not end.',
  },
  'shutting-down': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'it is shutting down',
    hint: 'Somebody or something stops it. If that was not you, look at its log.',
  },
  'too-many-connections': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'all its connections are used up',
    hint: 'See who holds the connections; raise the limit or mend the leaking client.',
  },
  'server-error': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'it answers with an error of its own',
    hint: 'Look at its log, and at the services that it needs.',
  },
  'wrong-status': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'it answers with a status that is not expected',
    hint: 'Check the address that is asked; has it moved, or does it want a sign-in?',
  },
  'text-missing': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'its answer lacks the expected text',
    hint: 'Open the page and look: it is another page, or an error page with a good status.',
  },
  'value-differs': {
    layer: 'answer',
    outcome: 'failed',
    sentence: 'a value in its answer is not the expected one',
    hint: 'Look what the service says of itself at that place.',
  },
  slow: {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it answers more slowly than it should',
    hint: 'Look at the load, memory and disk of its host.',
  },
  'read-only': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it takes no writes',
    hint: 'Is its disk full, or is it a replica?',
  },
  'under-load': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it says that it is under load',
    hint: 'See who asks so much of it.',
  },
  warns: {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it reports a trouble of its own, and serves on',
    hint: 'Look at what its health report names.',
  },
  'not-synchronised': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'its clock is not synchronised',
    hint: 'Look at its own time sources.',
  },
  'sign-in-refused': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it refuses the account of the probe',
    hint: "This is the probe's own trouble: check its account and password. Others may be served.",
  },
  'address-refused': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it refuses the address of the probe',
    hint: "This is the probe's own trouble: allow this machine's address. Others may be served.",
  },
  'address-blocked': {
    layer: 'answer',
    outcome: 'limited',
    sentence: 'it has blocked the address of the probe',
    hint: "This is the probe's own trouble: lift the block on the server. Others may be served.",
  },
  // job: scheduled work that reports in
  'run-failed': {
    layer: 'job',
    outcome: 'failed',
    sentence: 'its last run failed',
    hint: 'Read the end of its output, mend what it names, and run it again.',
  },
  overdue: {
    layer: 'job',
    outcome: 'failed',
    sentence: 'it has not run when it was due',
    hint: 'Does its timer still exist, was its machine on, and can it reach this daemon?',
  },
  hanging: {
    layer: 'job',
    outcome: 'failed',
    sentence: 'it runs for longer than it ever should',
    hint: 'Look what it waits for: a lock, a disk that does not answer, a question that nobody sees.',
  },
  'run-slow': {
    layer: 'job',
    outcome: 'limited',
    sentence: 'its run takes much longer than usual',
    hint: 'Has there been much more to do, or does its disk or network give way?',
  },
  'run-unusual': {
    layer: 'job',
    outcome: 'limited',
    sentence: 'it ended well, but what it tells of its work is unlike it',
    hint: 'Look at what it made: a job can end well and have done nothing.',
  },
  'run-unseen': {
    layer: 'job',
    outcome: 'unproven',
    sentence: 'nobody looked when it should have reported',
    hint: 'If it does not report soon, it will count as overdue.',
  },
} as const satisfies Record<string, Meaning>;

export type Reason = keyof typeof table;

export const reasons = Object.keys(table) as readonly Reason[];

/** What a reason means. */
export function meaningOf(reason: Reason): Meaning {
  return table[reason];
}
