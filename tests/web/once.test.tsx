/** What is made once is made again for another thing, or where it depends on something else, and never escaped twice. */
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { Lane } from '../../web/parts/lane.tsx';
import { keptMarkup } from '../../web/parts/once.ts';
import type { LaneProps, SheetProps } from '../../web/props.ts';

test('once for one thing and one key', () => {
  const once = keptMarkup<object>();
  let count = 0;
  const one = {};
  const say = (thing: object, key: string) =>
    renderToString(
      <p>
        {once(thing, key, () => (
          <b title={'"'}>{`<${++count}>`}</b>
        ))}
      </p>,
    );
  expect(say(one, 'a')).toBe('<p><b title="&quot;">&lt;1></b></p>');
  expect(say(one, 'a')).toBe(say(one, 'a'));
  expect(count).toBe(1);
  expect(say(one, 'b')).toContain('&lt;2>');
  expect(say({}, 'b')).toContain('&lt;3>');
});

const sheet = (us: number): SheetProps => ({
  from: 0,
  to: 1_000,
  stepMs: 100,
  ticks: [],
  decades: [us, 10 * us].map((each) => ({ us: each, label: `${each} µs` })),
});

const lane: LaneProps = {
  id: 'kiln',
  name: 'Kiln <script>',
  open: null,
  page: '/services/kiln',
  kind: 'tcp',
  state: 'up',
  since: null,
  remarks: [],
  last: null,
  strip: {
    label: 'Last 24 hours.',
    points: [50, 150].map((at) => ({ at, typicalUs: 5_000, slowUs: 6_000, slowestUs: 7_000 })),
    grounds: [],
    misses: [],
  },
  figures: { share: null, bounds: null, outages: 'no outage', restored: null },
};

test('a lane is the same on the same paper, and drawn anew on another', () => {
  const draw = (us: number, one = lane, scaled = false) =>
    renderToString(<Lane lane={one} sheet={sheet(us)} paper={String(us)} scaled={scaled} />);
  const first = draw(1_000);
  expect(first).toContain('Kiln &lt;script>');
  expect(draw(1_000)).toBe(first);
  expect(draw(100)).not.toBe(first);
  expect(draw(1_000, lane, true)).toContain('#scale');
  expect(draw(1_000, { ...lane, state: 'down' })).toContain('down');
  expect(draw(1_000)).toBe(first);
});
