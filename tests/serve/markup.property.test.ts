/**
 * Every text that is stored or configured, filled with markup: no page gets another skeleton by it than by harmless words,
 * and whatever else is served stays what it is.
 */

import fc from 'fast-check';
import { XMLValidator } from 'fast-xml-parser';
import { expect, test } from 'vitest';
import type { Notice } from '../../src/record/record.ts';
import { createHousehold } from '../../src/serve/household.ts';
import { skeletonOf } from '../support/html.ts';
import { readOpenMetrics } from '../support/openmetrics.ts';
import { get, guarded, post, signedIn, tokenOn } from './guarded.ts';
import { hourMs, type Member, minuteMs, nothing, now, type Scene, sceneOf } from './scene.ts';

const pieces = [
  '<script>alert(1)</script>',
  '<img src=x onerror=alert(1)>',
  '"',
  "'",
  '`',
  '>',
  '<',
  '&',
  '&lt;',
  '&#x3c;b>',
  '</title>',
  '</textarea>',
  '</style>',
  '</script>',
  '<!--',
  '-->',
  '<![CDATA[',
  ']]>',
  '" onmouseover="alert(1)',
  'javascript:alert(1)',
  '\u2028',
  '\u202e',
  '\u0000',
  '\u001b[31m',
  '\ufffe',
  '\ud800',
  '{{x}}',
  '# EOF',
  '\\',
  '\n',
  'ü',
  '🏺',
];
const hostile = fc
  .array(fc.constantFrom(...pieces), { minLength: 1, maxLength: 8 })
  // Begins with a word: where nothing is left, a page may well leave something out.
  .map((all) => `x${all.join('')}`);

interface Texts {
  readonly any: string;
  /** In notes, which have lines. */
  readonly line: string;
}

function channelOf(any: string): string {
  return any.replaceAll('\ud800', '');
}

/** Everything that can be said, said with these words. */
async function saidWith({ any, line }: Texts): Promise<{ scene: Scene; outage: string }> {
  const trouble = { layer: 'answer', reason: 'server-error', detail: any, hint: any } as const;
  const members: readonly Member[] = [
    {
      id: 'one',
      name: any,
      group: any,
      kind: any,
      where: any,
      open: 'https://orders.fernhill.home.arpa/',
      note: line,
      facts: { [any]: any, plain: any },
      past: [
        { state: 'up', agoMs: 5 * hourMs },
        { state: 'down', agoMs: 28 * minuteMs, trouble, cause: 'two' },
      ],
    },
    {
      id: 'two',
      name: any,
      group: any,
      needs: ['one'],
      past: [{ state: 'degraded', agoMs: hourMs, trouble }],
    },
  ];
  // Half a character cannot be configured, and no form could send it.
  const channel = channelOf(any);
  const letter = { noticeId: 'n', channel, at: now, summary: any, detail: any };
  const scene = await sceneOf(members, {
    answers: false,
    access: guarded,
    board: { title: any, timezone: 'Europe/Dublin', listen: { host: '127.0.0.1', port: 7655 } },
    tells: {
      channels: [
        {
          name: channel,
          lastDeliveredAt: null,
          lastFailure: { at: now, detail: any },
          waitingCount: 1,
        },
      ],
      deadLetters: [letter],
    },
    report: { troubles: [any] },
    acts: {
      askNow: async () => {},
      testChannel: async () => ({ delivered: false, detail: any }),
    },
  });
  const outage = scene.standings.get('one')?.outage?.id ?? '';
  const notice: Notice = {
    id: '5c2f0f0e-2222-4222-8222-222222222222',
    type: 'rollcall.service.down',
    at: now,
    serviceId: 'one',
    outageId: outage,
    notBefore: now,
    data: { summary: any },
    channels: [channel],
  };
  await scene.record.commit({ ...nothing, notices: [{ kind: 'add', notice }] });
  await scene.record.attempted({
    noticeId: notice.id,
    channel,
    at: now,
    tookMs: 1,
    status: null,
    detail: any,
    next: { state: 'dead' },
  });
  await scene.record.note(outage, { at: now, text: line });
  return { scene, outage };
}

async function servedWith(texts: Texts) {
  const { scene, outage } = await saidWith(texts);
  const cookie = await signedIn(scene);
  await post(
    scene,
    '/channels/test',
    { token: await tokenOn(scene, cookie), channel: channelOf(texts.any) },
    { cookie },
  );
  const household = await createHousehold(scene.options, '127.0.0.1');
  const paths = ['/', '/services/one', '/services/two', `/outages/${outage}`, '/channels'];
  const pages = await Promise.all(
    paths.map(async (url) => (await get(scene, url, { cookie })).body),
  );
  const shared = await household.inject({ url: '/', headers: { host: 'localhost' } });
  const rest = await Promise.all(
    ['/api/v1/services', '/api/v1/outages', '/feed.atom', '/metrics'].map(
      async (url) => (await get(scene, url, { cookie })).body,
    ),
  );
  await Promise.all([scene.app.close(), household.close()]);
  return { pages: [...pages, shared.body], rest };
}

test('no stored text becomes markup, on no page', async () => {
  const plain = await servedWith({ any: 'word', line: 'word' });
  const wanted = plain.pages.map(skeletonOf);
  expect(wanted.every((tags) => tags.length > 15)).toBe(true);
  await fc.assert(
    fc.asyncProperty(hostile, async (any) => {
      const { pages, rest } = await servedWith({ any, line: any.replaceAll('\n', ' ') });
      expect(pages.map(skeletonOf)).toEqual(wanted);
      const [services = '', outages = '', feed = '', metrics = ''] = rest;
      expect(JSON.parse(services).services).toHaveLength(2);
      expect(JSON.parse(outages).outages).toHaveLength(1);
      expect(XMLValidator.validate(feed)).toBe(true);
      expect(() => readOpenMetrics(metrics)).not.toThrow();
    }),
    { numRuns: 25 },
  );
});

test('the skeleton sees what would be markup', () => {
  const of = (name: string) => skeletonOf(`<p title="${name}">${name}</p>`);
  expect(of('x')).toEqual(['<p title>', '</p>']);
  expect(of('<b>')).not.toEqual(of('x'));
  expect(of('" onclick="a')).not.toEqual(of('x'));
  expect(of('&lt;b&gt;&quot;')).toEqual(of('x'));
});
