/** Naming a protocol by its first bytes. Openings from the documents named in the source; captured ones are marked. */
import { expect, test } from 'vitest';
import { recognise } from '../../src/probe/recognise.ts';

const text = (words: string) => Buffer.from(words, 'latin1');
const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');

test.each([
  ['SSH', text('SSH-2.0-OpenSSH_9.2p1\r\n')],
  ['HTTP', text('HTTP/1.1 400 Bad Request\r\n')],
  ['RTSP', text('RTSP/1.0 400 Bad Request\r\n')],
  ['SIP', text('SIP/2.0 400 Bad Request\r\n')],
  ['SMTP or FTP', text('220 mail.fernhill.home.arpa ESMTP\r\n')],
  ['SMTP or FTP', text('220-welcome\r\n')],
  ['IMAP', text('* OK [CAPABILITY IMAP4rev1] ready\r\n')],
  ['POP3', text('+OK ready\r\n')],
  ['NATS', text('INFO {"server_id":"x"}\r\n')],
  ['Redis', text('-ERR unknown command\r\n')],
  ['memcached', text('ERROR\r\n')],
  ['VNC', text('RFB 003.008\n')],
  ['XMPP', text("<?xml version='1.0'?><stream:stream>")],
  ['TLS', hex('15 03 01 0002 02 46')],
  ['HTTP/2', hex('000012 04 00 00000000 0003')],
  ['MySQL', hex('6a0000 00 0a 31302e31312e3139 00')],
  ['MySQL', hex('450000 00 ff 6a04 486f7374')],
  // seen on PostgreSQL 15.18
  ['PostgreSQL', hex('52 00000017 0000000a 534352414d')],
  ['PostgreSQL', hex('45 00000068 53464154414c00')],
  ['AMQP', hex('414d5150 00000901')],
  ['Telnet', hex('ff fd 18 ff fd 20')],
])('%s is named', (protocol, bytes) => {
  expect(recognise(bytes)).toBe(protocol);
});

test.each([
  ['nothing', text('')],
  ['one zero', hex('00')],
  ['the beginning of a word', text('SS')],
  ['a sentence', text('Hello there')],
  ['zeros', Buffer.alloc(300)],
  ['letters that only look like AMQP', text('AMQPX')],
])('%s has no name', (_name, bytes) => {
  expect(recognise(bytes)).toBeNull();
});

test('a name needs only the first 256 bytes, however many there are', () => {
  expect(recognise(Buffer.concat([text('SSH-2.0-x'), Buffer.alloc(1_000_000, 0x41)]))).toBe('SSH');
});
