/**
 * Names the protocol that the first bytes of a peer belong to, to tell the owner what listens there instead.
 * A guess for people, never a proof: only openings that can hardly be anything else.
 */

/** Openings of protocols that begin with text. */
const spoken: readonly (readonly [protocol: string, opening: RegExp])[] = [
  ['SSH', /^SSH-\d/], // RFC 4253 §4.2
  ['HTTP', /^HTTP\/\d/], // RFC 9112 §4
  ['RTSP', /^RTSP\/\d/], // RFC 2326 §7.1
  ['SIP', /^SIP\/\d/], // RFC 3261 §7.2
  ['SMTP or FTP', /^(?:220|421|554)[ -]/], // RFC 5321 §4.2, RFC 959 §4.2
  ['IMAP', /^\* (?:OK|PREAUTH|BYE|BAD)\b/], // RFC 9051 §7.1
  ['POP3', /^\+OK[ \r]/], // RFC 1939 §3
  ['NATS', /^INFO \{/], // NATS client protocol, INFO
  ['Redis', /^-(?:ERR|NOAUTH|DENIED|LOADING|MISCONF|NOPERM)\b/], // RESP2, simple errors
  ['memcached', /^ERROR\r\n/], // memcached text protocol, error strings
  ['VNC', /^RFB \d{3}\.\d{3}\n/], // RFC 6143 §7.1.1
  ['XMPP', /^<(?:\?xml [^>]*>\s*<)?stream:/], // RFC 6120 §4.2
];

/** Openings of protocols that begin with numbers. `at` gives the byte at an offset, -1 behind the end. */
const numbered: readonly (readonly [
  protocol: string,
  opening: (at: (offset: number) => number, bytes: Buffer) => boolean,
])[] = [
  // Alert or handshake record: RFC 8446 §5.1
  ['TLS', (at) => (at(0) === 0x15 || at(0) === 0x16) && at(1) === 3 && at(2) >= 0 && at(2) <= 4],
  // The first frame of a server is SETTINGS on stream 0: RFC 9113 §3.4, §4.1
  ['HTTP/2', (at, bytes) => at(3) === 4 && at(4) <= 1 && zeros(bytes, 5, 9)],
  // Packet with sequence 0 that holds HandshakeV10 or an error: MySQL client/server protocol
  ['MySQL', (at) => at(2) === 0 && at(3) === 0 && (at(4) === 10 || at(4) === 0xff)],
  // ErrorResponse with its severity, or Authentication: PostgreSQL protocol 3.0, message formats
  ['PostgreSQL', (at, bytes) => at(0) === 0x45 && zeros(bytes, 1, 3) && at(5) === 0x53],
  ['PostgreSQL', (at, bytes) => at(0) === 0x52 && zeros(bytes, 1, 4) && zeros(bytes, 5, 8)],
  // Protocol header, sent when another version was asked for: AMQP 0-9-1 §4.2.2
  ['AMQP', (at, bytes) => bytes.toString('latin1', 0, 4) === 'AMQP' && at(4) >= 0 && at(4) <= 3],
  // IAC and a command of negotiation: RFC 854
  ['Telnet', (at) => at(0) === 0xff && at(1) >= 0xfb && at(1) <= 0xfe],
];

/** The protocol's name, or null when the bytes say nothing certain. */
export function recognise(bytes: Buffer): string | null {
  const text = bytes.toString('latin1', 0, 256);
  const at = (offset: number) => bytes[offset] ?? -1;
  const found =
    spoken.find(([, opening]) => opening.test(text)) ??
    numbered.find(([, opening]) => opening(at, bytes));
  return found?.[0] ?? null;
}

function zeros(bytes: Buffer, from: number, to: number): boolean {
  return bytes.length >= to && bytes.subarray(from, to).every((byte) => byte === 0);
}
