/** The feed of outages: well-formed XML by an independent parser, then the rules of RFC 4287. */
import { XMLParser, XMLValidator } from 'fast-xml-parser';
import { afterAll, describe, expect, test } from 'vitest';
import { uuidOf } from '../../src/serve/feed.ts';
import { fernhill } from './fernhill.ts';
import {
  hourMs,
  type Member,
  minuteMs,
  refused,
  type Scene,
  type SceneOptions,
  sceneOf,
} from './scene.ts';

const scenes: Scene[] = [];
afterAll(() => Promise.all(scenes.map(({ app }) => app.close())));

async function board(members: readonly Member[], options: SceneOptions = {}): Promise<Scene> {
  const scene = await sceneOf(members, { answers: false, ...options });
  scenes.push(scene);
  return scene;
}

interface Link {
  readonly rel?: string;
  readonly href: string;
}
interface Text {
  readonly type?: string;
  readonly text: string;
}
interface Entry {
  readonly id: readonly string[];
  readonly title: readonly (string | Text)[];
  readonly updated: readonly string[];
  readonly published?: readonly string[];
  readonly summary?: readonly (string | Text)[];
  readonly link?: readonly Link[];
  readonly author?: readonly object[];
}
interface Atom extends Entry {
  readonly xmlns: string;
  readonly entry?: readonly Entry[];
}

/** Every element as a list, so that one too many shows. */
const parser = new XMLParser({
  ignoreAttributes: false,
  attributeNamePrefix: '',
  textNodeName: 'text',
  parseTagValue: false,
  isArray: (name, _path, _isLeaf, isAttribute) => !isAttribute && name !== 'feed',
});

function atomIn(xml: string): Atom {
  expect(XMLValidator.validate(xml)).toBe(true);
  return parser.parse(xml).feed;
}

const dateForm = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$/;

/** What RFC 4287 §4.1.1 and §4.1.2 ask of feed and entries; what is wrong. */
function faultsIn(feed: Atom): string[] {
  const faults: string[] = [];
  const check = (is: boolean, what: string) => {
    if (!is) faults.push(what);
  };
  const checkCommon = (one: Entry, what: string) => {
    check(one.id?.length === 1, `${what}: exactly one id`);
    check(one.title?.length === 1, `${what}: exactly one title`);
    check(one.updated?.length === 1, `${what}: exactly one updated`);
    check(/^[a-z][a-z0-9+.-]*:/.test(one.id?.[0] ?? ''), `${what}: its id is an IRI`);
    check(dateForm.test(one.updated?.[0] ?? ''), `${what}: updated is an RFC 3339 date`);
    const alternates = (one.link ?? []).filter(({ rel = 'alternate' }) => rel === 'alternate');
    check(alternates.length <= 1, `${what}: one alternate link`);
    if (!one.summary && one !== feed) check(alternates.length === 1, `${what}: a link or content`);
  };
  check(feed.xmlns === 'http://www.w3.org/2005/Atom', 'the name space');
  checkCommon(feed, 'feed');
  const entries = feed.entry ?? [];
  const hasAuthors = feed.author || entries.every(({ author }) => author);
  check(Boolean(hasAuthors), 'an author');
  for (const entry of entries) checkCommon(entry, 'entry');
  check(new Set(entries.map(({ id }) => id[0])).size === entries.length, 'ids are unique');
  return faults;
}

const textOf = (text: string | Text | undefined) => (typeof text === 'string' ? text : text?.text);

describe('the rules', () => {
  // RFC 4287 §1.1, the feed with a single entry.
  const published = `<?xml version="1.0" encoding="utf-8"?>
<feed xmlns="http://www.w3.org/2005/Atom">
  <title>Example Feed</title>
  <link href="http://example.org/"/>
  <updated>2003-12-13T18:30:02Z</updated>
  <author><name>John Doe</name></author>
  <id>urn:uuid:60a76c80-d399-11d9-b93C-0003939e0af6</id>
  <entry>
    <title>Atom-Powered Robots Run Amok</title>
    <link href="http://example.org/2003/12/13/atom03"/>
    <id>urn:uuid:1225c695-cfb8-4ebb-aaaa-80da344efa6a</id>
    <updated>2003-12-13T18:30:02Z</updated>
    <summary>Some text.</summary>
  </entry>
</feed>`;

  test('take the example of the RFC, and not what lacks a part', () => {
    expect(faultsIn(atomIn(published))).toEqual([]);
    expect(faultsIn(atomIn(published.replace(/<id>.*?<\/id>/, '')))).not.toEqual([]);
    expect(faultsIn(atomIn(published.replace(/<author>.*?<\/author>/, '')))).toEqual(['an author']);
    expect(faultsIn(atomIn(published.replace('2003-12-13T18:30:02Z', 'yesterday')))).not.toEqual(
      [],
    );
  });
});

test('is a feed by the rules, with itself and the board as its links', async () => {
  const { app } = await board(fernhill, { listen: () => () => {} });
  const answer = await app.inject({ url: '/feed.atom', headers: { host: 'fernhill.local:7655' } });
  expect(answer.headers['content-type']).toBe('application/atom+xml; charset=utf-8');
  const feed = atomIn(answer.body);
  expect(faultsIn(feed)).toEqual([]);
  expect(feed.id).toEqual(['urn:uuid:5c2f0f0e-1111-4111-8111-111111111111']);
  expect(feed.link).toEqual([
    { rel: 'alternate', href: 'http://fernhill.local:7655/' },
    { rel: 'self', href: 'http://fernhill.local:7655/feed.atom' },
  ]);
  const page = await app.inject({ url: '/' });
  expect(page.body).toContain(
    '<link rel="alternate" type="application/atom+xml" title="Outages" href="/feed.atom"/>',
  );
});

test('tells outages newest first: what is down, and what was for how long', async () => {
  const { app } = await board(fernhill);
  const { entry = [], updated } = atomIn((await app.inject({ url: '/feed.atom' })).body);
  const titles = entry.map(({ title }) => textOf(title[0]));
  expect(titles.slice(0, 3)).toEqual([
    'Shop is down',
    'Order book is down',
    'Order book was down for 9\u00a0min',
  ]);
  const dates = entry.map((one) => one.updated[0] ?? '');
  expect(updated).toEqual([[...dates].sort().at(-1)]);
  expect(textOf(entry[0]?.summary?.[0])).toContain('Behind Order book.');
  const link = entry[1]?.link?.[0]?.href ?? '';
  expect((await app.inject({ url: new URL(link).pathname })).statusCode).toBe(200);
});

test('an outage keeps its id when it is over, and says that it changed', async () => {
  const past = [
    { state: 'up', agoMs: 5 * hourMs },
    { state: 'down', agoMs: 28 * minuteMs },
  ] as const;
  const entryOf = async (member: Member) => {
    const { app } = await board([member]);
    return atomIn((await app.inject({ url: '/feed.atom' })).body).entry?.[0];
  };
  const open = await entryOf({ id: 'shop', name: 'Shop', past });
  const over = await entryOf({
    id: 'shop',
    name: 'Shop',
    past: [...past, { state: 'up', agoMs: minuteMs }],
  });
  expect(over?.id).toEqual(open?.id);
  expect(over?.published).toEqual(open?.published);
  expect(Date.parse(over?.updated[0] ?? '')).toBeGreaterThan(Date.parse(open?.updated[0] ?? ''));
});

test('texts with markup are texts, whatever reads them', async () => {
  const hostile = '<script>alert(1)</script> ]]> &amp; "\u0001"';
  const { app } = await board([
    {
      id: 'hostile',
      name: hostile,
      past: [
        { state: 'up', agoMs: 5 * hourMs },
        { state: 'down', agoMs: minuteMs, trouble: { ...refused, detail: `${hostile}\ufffe` } },
      ],
    },
  ]);
  const feed = atomIn((await app.inject({ url: '/feed.atom' })).body);
  expect(faultsIn(feed)).toEqual([]);
  const title = feed.entry?.[0]?.title[0] as Text;
  // RFC 4287 §3.1.1.2: of type html, the text is markup that stands for the name.
  expect(title.type).toBe('html');
  expect(title.text).toBe('&lt;script&gt;alert(1)&lt;/script&gt; ]]&gt; &amp;amp; " " is down');
});

test('without an outage it is a feed as well', async () => {
  const { app } = await board([
    { id: 'shop', name: 'Shop', past: [{ state: 'up', agoMs: hourMs }] },
  ]);
  const feed = atomIn((await app.inject({ url: '/feed.atom' })).body);
  expect(faultsIn(feed)).toEqual([]);
  expect(feed.entry).toBeUndefined();
});

test('ids are name-based UUIDs (RFC 9562, appendix A.4)', () => {
  expect(uuidOf('6ba7b810-9dad-11d1-80b4-00c04fd430c8', 'www.example.com')).toBe(
    '2ed6657d-e927-568b-95e1-2665a8aea6a2',
  );
});
