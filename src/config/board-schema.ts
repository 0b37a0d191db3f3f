/** The board and the household's view of it: where they answer, by which names, and who may read. */
import * as z from 'zod';
import { passphraseCharsMax, passphraseCharsMin, tokensCountMax } from '../base/limits.ts';
import { isHashedPassphrase } from '../base/passphrase.ts';
import {
  basePath,
  hostName,
  isWeb,
  line,
  list,
  listen,
  proxyAddress,
  text,
  timezone,
  token,
  urlOf,
} from './words.ts';

const passphraseExpected = `expected at least ${passphraseCharsMin} characters, or what \`rollcall key passphrase\` prints`;

/** At least eight characters (NIST SP 800-63B §5.1.1.1), or the hash that stands for them. */
const passphrase = z
  .string(passphraseExpected)
  .max(passphraseCharsMax, `expected at most ${passphraseCharsMax} characters`)
  .refine(
    (text) =>
      text.startsWith('scrypt:')
        ? isHashedPassphrase(text)
        : Array.from(text).length >= passphraseCharsMin,
    passphraseExpected,
  )
  .meta({ secret: true, minLength: passphraseCharsMin });

/** A link is made of it by adding a path. */
const publicAddress = text(
  'the address of the board, such as https://board.fernhill.home.arpa/',
  (given) => {
    const url = urlOf(given);
    return isWeb(url) && given.length <= 500 && url?.username === '' && !/[?#]/.test(given);
  },
).meta({ pattern: '^https?://[^?#]+$' });

export const board = z
  .strictObject({
    title: line('a title', 80).prefault('Rollcall').describe('What stands on top of the page.'),
    listen: listen.prefault('127.0.0.1:7655').describe('Where the board answers: host:port.'),
    timezone: timezone
      .optional()
      .describe(
        'For what people read: a name such as Europe/Dublin. By default the one of this machine.',
      ),
    address: publicAddress
      .optional()
      .describe(
        'The address under which you open the board, for the links in messages: https://board.fernhill.home.arpa/.',
      ),
    names: list(hostName, 'host names, such as [board.fernhill.home.arpa]')
      .prefault([])
      .describe(
        'Host names that it goes by, beside its address and the name of this machine: those of a reverse proxy or of your own DNS. It refuses every other.',
      ),
    passphrase: passphrase
      .optional()
      .describe(
        'With it, nobody reads the board without signing in, and whoever signed in may act on it. Without it the board is read-only.',
      ),
    tokens: list(token, 'tokens')
      .max(tokensCountMax, `expected at most ${tokensCountMax} tokens`)
      .optional()
      .describe(
        'Programs that read the board send one of these as `Authorization: Bearer …`; they cannot act.',
      ),
    base: basePath
      .prefault('/')
      .describe('The path under which a reverse proxy serves the board, such as /rollcall/.'),
    proxies: list(proxyAddress, 'addresses, such as [127.0.0.1] or [192.0.2.0/28]')
      .prefault([])
      .describe(
        'Addresses of reverse proxies; what they say in X-Forwarded-For, -Proto and -Host is believed, and nobody else.',
      ),
  })
  .superRefine(({ passphrase: own, tokens }, context) => {
    if (own !== undefined || tokens === undefined || tokens.length === 0) return;
    const message =
      'expected a `passphrase` beside them: without one everybody reads the board anyway';
    context.addIssue({ code: 'custom', path: ['tokens'], message });
  });

export const household = z.strictObject({
  listen: listen.describe('Where the view for the household answers: host:port.'),
});
