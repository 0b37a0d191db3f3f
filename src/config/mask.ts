/** Takes secrets out of a text before it is logged, shown or sent. */

const mark = '••••';

/** Shorter ones cannot be told from ordinary words, and replacing them would only spoil the text. */
const secretCharsMin = 4;

/**
 * `text` with every secret of at least four characters replaced by ••••, also where it stands URL-encoded
 * (RFC 3986 §2.1, or as a form: `+` for a space), as base64 or base64url (RFC 4648 §4, §5) alone or within more, or
 * escaped in JSON. The longest go first, so that a secret within another leaves nothing behind.
 */
export function maskSecrets(text: string, secrets: readonly string[]): string {
  return secretMasker(secrets)(text);
}

/** The same for many texts: the written forms are made once. */
export function secretMasker(secrets: readonly string[]): (text: string) => string {
  const forms = new Set<string>();
  for (const secret of secrets) {
    if (Array.from(secret).length < secretCharsMin) continue;
    for (const form of writtenForms(secret)) forms.add(form);
  }
  const longestFirst = [...forms].sort((a, b) => b.length - a.length);
  return (text) => longestFirst.reduce((masked, form) => masked.replaceAll(form, mark), text);
}

function writtenForms(secret: string): string[] {
  const bytes = Buffer.from(secret, 'utf8');
  // Through bytes and back: encodeURIComponent throws on half a surrogate pair.
  const encoded = encodeURIComponent(bytes.toString('utf8'));
  const base64 = [
    bytes.toString('base64'),
    ...[0, 1, 2].map((offset) => base64Core(bytes, offset)),
  ];
  return [
    secret,
    encoded,
    encoded.replace(/%[0-9A-F]{2}/g, (octet) => octet.toLowerCase()),
    encodeURI(bytes.toString('utf8')),
    new URLSearchParams({ '': bytes.toString('utf8') }).toString().slice(1),
    JSON.stringify(secret).slice(1, -1),
    ...base64,
    ...base64.map((form) => form.replaceAll('+', '-').replaceAll('/', '_')),
  ];
}

/**
 * What base64 makes of the bytes wherever they begin within a group of three (`user:secret` of RFC 7617), without the
 * characters at either end that neighbours have a share in.
 */
function base64Core(bytes: Buffer, offset: number): string {
  const encoded = Buffer.concat([Buffer.alloc(offset), bytes]).toString('base64');
  const from = Math.ceil((offset * 8) / 6);
  return encoded.slice(from, Math.floor(((offset + bytes.length) * 8) / 6));
}
