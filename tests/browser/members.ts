/** Services for boards in a browser: a few plain ones, hostile ones, and very many. */
import { dayMs, hourMs, type Member, minuteMs, silent } from '../serve/scene.ts';

export const three: readonly Member[] = [
  {
    id: 'shop',
    name: 'Shop',
    group: 'Studio',
    kind: 'http',
    past: [{ state: 'up', agoMs: 2 * dayMs }],
  },
  {
    id: 'order-book',
    name: 'Order book',
    group: 'Studio',
    kind: 'postgres',
    note: 'Container "orders-db".',
    open: 'https://orders.fernhill.home.arpa/',
    past: [
      { state: 'up', agoMs: 2 * dayMs },
      { state: 'down', agoMs: 28 * minuteMs },
    ],
  },
  {
    id: 'remote-access',
    name: 'Remote access',
    kind: 'wireguard',
    past: [{ state: 'unobserved', agoMs: 3 * hourMs, trouble: silent }],
  },
];

const past: Member['past'] = [
  { state: 'up', agoMs: 3 * dayMs },
  { state: 'down', agoMs: hourMs },
  { state: 'up', agoMs: 10 * minuteMs },
];

/** Markup where text belongs, words that cannot be broken, and scripts that run the other way. */
export const hostile: readonly Member[] = [
  {
    id: 'markup',
    name: '<script>alert("Rollcall")</script>',
    group: 'Vessels'.repeat(15),
    where: `${'kiln-'.repeat(50)}fernhill.home.arpa:80`,
    note: `<img src=x onerror=alert(1)> ${'x'.repeat(300)}`,
    facts: { banner: `<svg onload=alert(1)> ${'y'.repeat(180)}` },
    needs: ['hebrew', 'endless'],
    objective: 0.999,
    past,
  },
  { id: 'endless', name: 'W'.repeat(200), kind: 'http', open: 'http://192.0.2.1/', past },
  {
    id: 'wordy',
    name: 'glaze and slip '.repeat(14),
    group: 'عربي',
    past: [{ state: 'degraded', agoMs: hourMs }],
  },
  {
    id: 'hebrew',
    name: 'תנור שריפה 2 (חדש)',
    group: 'עברית',
    note: 'התנור בחצר: כבל ירוק.',
    past: [...past, { state: 'down', agoMs: 5 * minuteMs }],
  },
  { id: 'arabic', name: 'سجل الطلبات \u202e drow', group: 'عربي', past },
  {
    id: 'emoji',
    name: '🏺🔥 Kiln 👩🏽‍🎨 '.repeat(10),
    group: '🏺',
    past: [{ state: 'unobserved', agoMs: hourMs, trouble: silent }],
  },
  { id: 'zalgo', name: 'K\u0301\u0302\u0303\u0304iln \u200b\u200d', group: '   ', past },
];

/** Sheds of forty; in three of them one is down. */
export function thousand(): Member[] {
  return Array.from(
    { length: 1_000 },
    (_, index): Member => ({
      id: `kiln-${index}`,
      name: `Kiln ${index}`,
      group: `Shed ${Math.floor(index / 40)}`,
      kind: index % 3 === 0 ? 'http' : 'tcp',
      everyMs: 10 * minuteMs,
      past:
        index % 400 === 7
          ? [
              { state: 'up', agoMs: 2 * dayMs },
              { state: 'down', agoMs: hourMs },
            ]
          : [{ state: 'up', agoMs: 2 * dayMs }],
    }),
  );
}
