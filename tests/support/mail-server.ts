/** A mail server on loopback (npm smtp-server) that keeps what it takes, and replies as a test wants. */
import type { AddressInfo } from 'node:net';
import { type ParsedMail, simpleParser } from 'mailparser';
import { SMTPServer, type SMTPServerOptions } from 'smtp-server';

export interface MailServer extends AsyncDisposable {
  readonly port: number;
  readonly mails: readonly ParsedMail[];
}

export async function mailServer(options: SMTPServerOptions = {}): Promise<MailServer> {
  const mails: ParsedMail[] = [];
  const server = new SMTPServer({
    authOptional: true,
    disabledCommands: ['STARTTLS'],
    // The sign-in of these tests goes over loopback in the clear.
    allowInsecureAuth: true,
    logger: false,
    disableReverseLookup: true,
    onData: (stream, _session, done) => {
      simpleParser(stream).then(
        (mail) => {
          mails.push(mail);
          done();
        },
        (thrown: Error) => done(thrown),
      );
    },
    ...options,
  });
  server.on('error', () => {});
  await new Promise<void>((resolve) => {
    server.listen(0, '127.0.0.1', resolve);
  });
  return {
    port: (server.server.address() as AddressInfo).port,
    mails,
    [Symbol.asyncDispose]: () => new Promise((resolve) => server.close(() => resolve())),
  };
}
