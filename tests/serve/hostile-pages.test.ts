/** Text that others wrote stays text on every page. */
import { describe, expect, test } from 'vitest';
import { dayMs, type Member, minuteMs, now, refused, sceneOf, words } from './scene.ts';
import { told } from './told.ts';

describe('hostile text', () => {
  const evil = '<script>alert(1)</script><img src=x onerror=alert(1)>" onmouseover="alert(1)';
  const members: Member[] = [
    {
      id: 'evil',
      name: evil,
      group: evil,
      kind: 'http',
      where: evil,
      open: 'javascript:alert(1)',
      note: `${evil}\n${evil}`,
      facts: { [evil]: evil },
      past: [
        { state: 'up', agoMs: 2 * dayMs },
        { state: 'down', agoMs: 60 * minuteMs, trouble: { ...refused, detail: evil, hint: evil } },
      ],
    },
    {
      id: 'near',
      name: `${evil} ${'long '.repeat(100)}`,
      needs: ['evil'],
      facts: { [evil]: evil },
      past: [{ state: 'up', agoMs: 60 * minuteMs }],
    },
  ];

  test('stays text on every page', async () => {
    const crowd = Array.from({ length: 20 }, (_, index) => ({
      id: `c${index}`,
      name: evil,
      past: [],
    }));
    const hostile = await sceneOf([...members, ...crowd], {
      board: { title: evil, timezone: 'UTC', listen: { host: '127.0.0.1', port: 0 } },
      report: { troubles: [evil] },
      tells: {
        channels: [
          {
            name: evil,
            lastDeliveredAt: null,
            lastFailure: { at: now, detail: evil },
            waitingCount: 1,
          },
        ],
        deadLetters: [{ noticeId: '1', channel: evil, at: now, summary: evil, detail: evil }],
      },
    });
    const outage = hostile.standings.get('evil')?.outage?.id ?? '';
    await told(hostile, outage, { channel: evil, summary: evil, detail: evil });
    for (const url of [
      '/',
      `/?find=${encodeURIComponent(evil)}`,
      `/?group=${encodeURIComponent(evil)}`,
      '/about',
      '/services/evil',
      '/services/evil?range=year',
      '/services/near',
      `/outages/${outage}`,
      `/${encodeURIComponent(evil)}`,
    ]) {
      const answer = await hostile.app.inject({ url, headers: { accept: 'text/html' } });
      expect(answer.body).toMatch(/^<!doctype html>/);
      expect(answer.body).not.toMatch(/<script|<img|<[^>]*\son[a-z]+=/i);
      expect(answer.body).not.toMatch(/(href|src)="?\s*javascript:/i);
      expect(answer.body).not.toMatch(/<[^>]*\sstyle=/i);
      expect(answer.body).toContain('&lt;script>');
    }
    await hostile.app.close();
  });

  test('is cut where it is long', async () => {
    const hostile = await sceneOf(members, { answers: false });
    const { body } = await hostile.app.inject({ url: '/' });
    expect(words(body)).not.toContain('long '.repeat(20));
    await hostile.app.close();
  });
});
