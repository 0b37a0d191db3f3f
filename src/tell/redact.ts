/** Takes a channel's secrets out of a text: a receiver that answers may well quote its own address. */
import type { MailChannel, WebhookChannel } from './channel.ts';

/** Shorter parts are everyday words, and striking them out would make the text unreadable without hiding anything. */
const secretCharsMin = 6;

/** All parts of a channel's settings that may be secret, longest first. */
export function secretsOf(channel: WebhookChannel): readonly string[] {
  const url = new URL(channel.webhook);
  const values = [...url.searchParams.values(), ...Object.values(channel.headers ?? {})];
  const whole = [url.pathname, url.search, url.password, url.username, channel.secret ?? ''];
  const parts = [
    ...url.pathname.split('/'),
    ...values,
    ...values.flatMap((text) => text.split(' ')),
  ];
  const plain = [...whole, ...parts].flatMap((text) => [text, decoded(text)]);
  return [...new Set(plain)]
    .filter((text) => text.length >= secretCharsMin)
    .sort((a, b) => b.length - a.length);
}

/** The same of a mail channel: user and password, as they are and as they stand in an address. */
export function mailSecretsOf({ mail }: MailChannel): readonly string[] {
  const { username, password } = new URL(mail.smtp);
  const base64 = (text: string) => Buffer.from(text).toString('base64');
  const plain = [username, password, decoded(username), decoded(password)];
  return [...new Set([...plain, ...plain.map(base64)])]
    .filter((text) => text.length >= secretCharsMin)
    .sort((a, b) => b.length - a.length);
}

export function redacted(text: string, secrets: readonly string[]): string {
  return secrets.reduce((rest, secret) => rest.replaceAll(secret, '…'), text);
}

function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}
