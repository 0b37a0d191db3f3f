/** What is told of a job: its sentences, its letter, and a body of the owner's own. */
import { expect, test } from 'vitest';
import type { Reason } from '../../src/base/reasons.ts';
import { meaningOf } from '../../src/base/reasons.ts';
import type { Trouble } from '../../src/base/values.ts';
import { eventOf } from '../../src/tell/event.ts';
import { letterOf } from '../../src/tell/letter.ts';
import { type Situation, say } from '../../src/tell/sentences.ts';
import { renderBody } from '../../src/tell/template.ts';
import { notice } from '../support/telling.ts';

const trouble = (reason: Reason, detail: string): Trouble => ({
  ...{ layer: meaningOf(reason).layer, reason, detail },
  hint: meaningOf(reason).hint,
});
const name = 'Nightly backup';
const failed = trouble('run-failed', 'exit status 1 after 3 min 12 s: no space left on device');

const spoken: readonly (readonly [Situation, string])[] = [
  [
    { kind: 'down', name, trouble: failed, affected: [] },
    'Nightly backup failed: exit status 1 after 3 min 12 s: no space left on device.',
  ],
  [
    {
      kind: 'down',
      name,
      trouble: trouble('overdue', 'not begun 20 min after it was due'),
      affected: ['Mirror'],
    },
    'Nightly backup is overdue: not begun 20 min after it was due; Mirror needs it.',
  ],
  [
    {
      kind: 'down',
      name,
      trouble: trouble('hanging', 'still running 3 h after it began'),
      affected: [],
    },
    'Nightly backup hangs: still running 3 h after it began.',
  ],
  [
    {
      kind: 'degraded',
      name,
      trouble: trouble('run-slow', 'it took 31 min; it usually takes 10 min'),
      afterMs: null,
    },
    'Nightly backup works, but not as usual: it took 31 min; it usually takes 10 min.',
  ],
  [
    {
      kind: 'degraded',
      name,
      trouble: trouble('run-unusual', 'it ended well but told 0 GB'),
      afterMs: 3_600_000,
    },
    'Nightly backup works again after 1 h, but not as usual: it ended well but told 0 GB.',
  ],
  [
    { kind: 'up', name, afterMs: 3_600_000, isJob: true },
    'Nightly backup is in order again after 1 h.',
  ],
  [{ kind: 'up', name, afterMs: null, isJob: true }, 'Nightly backup reports again.'],
  [{ kind: 'up', name, afterMs: null }, 'Nightly backup answers again.'],
];

test.each(spoken)('%o', (situation, sentence) => {
  expect(say(situation)).toBe(sentence);
});

const about = (reason: Reason) =>
  eventOf(
    notice('0d9e6c1e-2a54-4f0b-8a37-6f0a3d2b7c55', {
      serviceId: 'nightly-backup',
      data: {
        summary: say({ kind: 'down', name, trouble: failed, affected: [] }),
        observation: { layer: 'job', reason, detail: failed.detail, hint: failed.hint },
        job: { run: { id: 'r', exit: 1, output: 'copying\n<b>no space left</b>' } },
      },
    }),
    '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11',
  );

test('a letter carries the end of the output where it is about that run', () => {
  const letter = letterOf(about('run-failed'), { sayInstant: String });
  expect(letter.text).toContain('The end of its output:\ncopying\n<b>no space left</b>\n');
  expect(letter.text).toContain('rollcall.job.failed · Rollcall');
  expect(letter.html).toContain('copying<br>&lt;b&gt;no space left&lt;/b&gt;');
  expect(letterOf(about('overdue'), { sayInstant: String }).text).not.toContain('copying');
});

test('a body of the owner’s own can name the run', () => {
  const body = { text: '{{type}} {{job.run.exit}} {{job.run.output}}{{job.run.unit}}' };
  expect(JSON.parse(renderBody(body, about('run-failed'), { stated: null }).body)).toEqual({
    text: 'rollcall.job.failed 1 copying\n<b>no space left</b>',
  });
});
