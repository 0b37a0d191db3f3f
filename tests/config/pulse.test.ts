/** The pulse in the configuration: whom it calls, how often, and that its address is a secret. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { expect, test } from 'vitest';
import { complaints, load } from '../support/config-text.ts';

const services = 'services: [{ name: Shop, probe: "tcp://nas:445" }]';
const withPulse = (pulse: string) => `${services}\npulse: ${pulse}`;

function loaded(text: string, env: { readonly [name: string]: string } = {}) {
  const found = load(text, { env });
  if (!found.ok) throw new Error(JSON.stringify(found.mistakes));
  return found;
}

test('without one nobody is called', () => {
  expect(loaded(services).config.pulse).toBeNull();
});

test('an address is enough', () => {
  expect(loaded(withPulse('{ to: "https://other.home.arpa/jobs/x/ended" }')).config.pulse).toEqual({
    to: 'https://other.home.arpa/jobs/x/ended',
    everyMs: 60_000,
    method: 'GET',
    headers: {},
  });
});

test('interval, method and headers are the owner’s', () => {
  const pulse =
    '{ to: "http://192.0.2.7/in", every: 30s, method: POST, headers: { Authorization: "Bearer ${TOKEN}" } }';
  const { config, secrets } = loaded(withPulse(pulse), { TOKEN: 'kiln-and-clay' });
  expect(config.pulse).toEqual({
    to: 'http://192.0.2.7/in',
    everyMs: 30_000,
    method: 'POST',
    headers: { Authorization: 'Bearer kiln-and-clay' },
  });
  expect(secrets).toContain('kiln-and-clay');
});

test('the address is a secret, as a whole and as what was put into it', () => {
  const written = loaded(withPulse('{ to: "https://beat.example/abc?key=potter" }'));
  expect(written.secrets).toEqual(
    expect.arrayContaining(['https://beat.example/abc?key=potter', 'potter']),
  );
  const filled = loaded(withPulse('{ to: "https://beat.example/${BEAT}" }'), { BEAT: 'glaze-77' });
  expect(filled.secrets).toContain('glaze-77');
});

test.each([
  [
    '{ to: "ftp://beat.example/" }',
    '2:14 `pulse.to`: found a secret, expected an address that begins with http:// or https://',
  ],
  [
    '{ to: "https://a:b@beat.example/" }',
    '2:14 `pulse.to`: found a secret, expected an address without user and password: they go into `headers`, as Authorization',
  ],
  [
    '{ to: "https://beat.example/", every: 10ms }',
    '2:46 `pulse.every`: found "10ms", expected a duration from 1s to 1d, such as 30s, 5m, 2h',
  ],
  [
    '{ to: "https://beat.example/", method: PUT }',
    '2:47 `pulse.method`: found "PUT", expected GET or POST',
  ],
  [
    '{ to: "https://beat.example/", interval: 1m }',
    '2:39 `pulse.interval`: unknown key; did you mean `every`?',
  ],
  [
    '{ to: "https://beat.example/", headers: { Host: x } }',
    expect.stringContaining('this header is set by Rollcall itself'),
  ],
  [
    '{ every: 1m }',
    '2:8 `pulse.to` is missing: expected an address that begins with http:// or https://',
  ],
])('%s is complained of', (pulse, complaint) => {
  expect(complaints(withPulse(pulse))).toEqual([complaint]);
});

test('what people call it elsewhere is understood', () => {
  expect(complaints(`${services}\nheartbeat: { to: "https://beat.example/" }`)).toEqual([
    expect.stringContaining('did you mean `pulse`?'),
  ]);
});
