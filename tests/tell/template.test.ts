/** Bodies of the owner's own: filled in, and escaped for where they stand. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Event } from '../../src/tell/event.ts';
import { renderBody } from '../../src/tell/template.ts';

function event(data: { summary: string } & Record<string, unknown>): Event {
  return {
    specversion: '1.0',
    id: 'b0c4f6a8-0000-4000-8000-000000000001',
    source: 'urn:uuid:b0c4f6a8-0000-4000-8000-000000000002',
    type: 'rollcall.service.down',
    subject: 'order-book',
    time: '2026-11-25T04:00:00.000Z',
    datacontenttype: 'application/json',
    data,
  };
}

const down = event({
  summary: 'Order book is down: "refused".',
  service: { id: 'order-book', name: 'Order book', group: null, open: null, note: 'Two\nlines' },
  outage: { id: 'order-book-1', restoredAt: null },
  affected: ['shop', 'kiln-logger'],
});

test('a text is filled in as it stands', () => {
  const { body, type } = renderBody('{{type}}: {{summary}} ({{affected}})', down, { stated: null });
  expect(body).toBe('rollcall.service.down: Order book is down: "refused". (shop, kiln-logger)');
  expect(type).toBe('text/plain; charset=utf-8');
});

test('JSON is filled in text by text, and stays JSON whatever is filled in', () => {
  const template = {
    text: '{{summary}}',
    blocks: [{ note: '{{service.note}}', level: 3 }],
    on: true,
  };
  const { body, type } = renderBody(template, down, { stated: null });
  expect(JSON.parse(body)).toEqual({
    text: 'Order book is down: "refused".',
    blocks: [{ note: 'Two\nlines', level: 3 }],
    on: true,
  });
  expect(type).toBe('application/json');
});

test('a text that is sent as JSON has what is filled in escaped', () => {
  fc.assert(
    fc.property(fc.string(), (summary) => {
      const { body } = renderBody(
        '{"text": "{{summary}}", "raw": "{{service.name}}"}',
        event({ summary }),
        { stated: 'application/vnd.kiln+json; charset=utf-8' },
      );
      expect(JSON.parse(body)).toEqual({ text: summary, raw: '' });
    }),
  );
});

test('a form has what is filled in as one value, whatever it is', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'grapheme' }), (summary) => {
      const { body, type } = renderBody('to=kiln&text={{summary}}', event({ summary }), {
        stated: 'application/x-www-form-urlencoded',
      });
      expect([...new URLSearchParams(body)]).toEqual([
        ['to', 'kiln'],
        ['text', summary],
      ]);
      expect(type).toBe('application/x-www-form-urlencoded');
    }),
  );
});

test('what is filled in cannot bring markup', () => {
  const sly = event({ summary: '<a href="https://a.example/">Sign in & pay</a>' });
  const { body } = renderBody('<p>{{summary}}</p>', sly, { stated: 'text/html; charset=utf-8' });
  expect(body).toMatch(/^<p>&lt;a href=&quot;https:.*&quot;&gt;Sign in &amp; pay&lt;.*&gt;<\/p>$/);
});

test('what an event does not have is empty, and a section on it is left out', () => {
  const template =
    '{{#outage.restoredAt}}over{{/outage.restoredAt}}{{^service.group}}no group{{/service.group}}';
  expect(renderBody(template, down, { stated: null }).body).toBe('no group');
  const test = event({ summary: 'A test.' });
  expect(renderBody('[{{service.name}}]{{outage.id}}', test, { stated: null }).body).toBe('[]');
});

test('a value cannot bring in a template of its own', () => {
  const sly = event({ summary: '{{service.note}}', service: { note: 'secret' } });
  expect(renderBody('{{summary}}', sly, { stated: null }).body).toBe('{{service.note}}');
});
