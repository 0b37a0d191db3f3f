/** Signatures by the Standard Webhooks scheme, against vectors that six reference libraries share, and the library's own check. */
import { Webhook } from 'standardwebhooks';
import { afterEach, expect, test, vi } from 'vitest';
import { signatureHeaders } from '../../src/tell/sign.ts';

const secret = 'whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw';
const id = 'msg_p5jXN8AQM9LWM0D4loKWxJek';
const at = 1_614_265_330_000;

afterEach(() => {
  vi.useRealTimers();
});

test.each([
  [
    'test vector of the reference libraries (standard-webhooks repository)',
    { secret, id, at, body: '{"test": 2432232314}' },
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=',
  ],
  [
    'second vector of the reference libraries',
    {
      secret: 'whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD',
      id: 'msg_27UH4WbU6Z5A5EzD8u03UvzRbpk',
      at: 1_649_367_553_000,
      body: '{"email":"test@example.com","username":"test_user"}',
    },
    'v1,tZ1I4/hDygAJgO5TYxiSd6Sd0kDW6hPenDe+bTa3Kkw=',
  ],
  [
    'the first one without its space: a changed byte changes all (computed independently)',
    { secret, id, at, body: '{"test":2432232314}' },
    'v1,Vif40peJBP7Iyl0XGmu61n4MwdrcHov5CFREBpE0svs=',
  ],
])('%s', (_, { secret, ...signed }, signature) => {
  expect(signatureHeaders(secret, signed)).toEqual({
    'webhook-id': signed.id,
    'webhook-timestamp': String(signed.at / 1000),
    'webhook-signature': signature,
  });
});

test('the timestamp is in whole seconds, rounded down as the signature has it', () => {
  const body = '{"test": 2432232314}';
  const headers = signatureHeaders(secret, { id, at: at + 999, body });
  expect(headers).toEqual(signatureHeaders(secret, { id, at, body }));
});

test('without a secret there is no signature', () => {
  const headers = signatureHeaders(null, { id, at, body: '{}' });
  expect(headers).toEqual({ 'webhook-id': id, 'webhook-timestamp': '1614265330' });
});

// Tolerance of ±300 s, both ends included: as the library (standardwebhooks 1.1.1) does it; the specification leaves the figure open.
test.each([
  [-300, null],
  [300, null],
  [-301, 'Message timestamp too old'],
  [301, 'Message timestamp too new'],
])('a receiver whose clock is %i s off', (offS, complaint) => {
  const body = '{"summary":"Order book is down."}';
  const headers = signatureHeaders(secret, { id, at, body });
  vi.useFakeTimers({ now: at - offS * 1000, toFake: ['Date'] });
  const check = () => new Webhook(secret).verify(body, headers);
  if (complaint === null) expect(check()).toEqual({ summary: 'Order book is down.' });
  else expect(check).toThrow(complaint);
});

test('a receiver notices another body, another id, another time and another secret', () => {
  vi.useFakeTimers({ now: at, toFake: ['Date'] });
  const body = '{"a":1}';
  const headers = signatureHeaders(secret, { id, at, body });
  const receiver = new Webhook(secret);
  const other = new Webhook('whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD');
  expect(() => receiver.verify('{"a":2}', headers)).toThrow();
  expect(() => receiver.verify(body, { ...headers, 'webhook-id': 'other' })).toThrow();
  expect(() => receiver.verify(body, { ...headers, 'webhook-timestamp': '1614265331' })).toThrow();
  expect(() => other.verify(body, headers)).toThrow();
});
