/** How a job stands, case by case; a year of minutes against a second model is in tests/simulate/jobs.test.ts. */
import { describe, expect, test } from 'vitest';
import { latestOpen } from '../../src/job/standing.ts';
import {
  agreedAt,
  at,
  dayMs,
  hourMs,
  minuteMs,
  night,
  nightly,
  run,
  since,
  standing,
} from './support.ts';

const due3 = at('2026-11-03T02:15:00Z');
const good = night(2);

describe('from due to overdue', () => {
  test('a job that was just agreed on is due, and waited for', () => {
    const found = standing([], agreedAt);
    expect(found).toMatchObject({ state: 'due', dueAt: at('2026-11-02T02:15Z') });
    expect(found.observation).toMatchObject({ outcome: 'answered', trouble: null, facts: {} });
  });

  test('done until its due time, due within what is allowed, overdue after it', () => {
    const stateAt = (now: number) => standing([good], now).state;
    expect(stateAt(due3 - 1)).toBe('done');
    expect(stateAt(due3)).toBe('due');
    expect(stateAt(due3 + 20 * minuteMs - 1)).toBe('due');
    expect(stateAt(due3 + 20 * minuteMs)).toBe('overdue');
    // The next due time makes no new day of it.
    expect(stateAt(due3 + dayMs + minuteMs)).toBe('overdue');
    expect(standing([good], due3 + 3 * dayMs).dueAt).toBe(due3);
  });

  test('says when that will be so', () => {
    expect(standing([good], due3 - hourMs).changesAt).toBe(due3);
    expect(standing([good], due3).changesAt).toBe(due3 + 20 * minuteMs);
    expect(standing([good], due3 + 20 * minuteMs).changesAt).toBeNull();
  });

  test('tells what was missed, in the words of its own zone', () => {
    const { observation } = standing([good], due3 + 20 * minuteMs);
    expect(observation).toMatchObject({ outcome: 'failed', at: due3 + 20 * minuteMs, tookUs: 0 });
    expect(observation.trouble).toMatchObject({
      layer: 'job',
      reason: 'overdue',
      detail: 'not begun 20 min after it was due, at 2026-11-03 02:15 (Europe/Dublin)',
    });
  });

  test('a run that begins late, or only tells its end, takes it back', () => {
    const now = due3 + 2 * hourMs;
    expect(standing([good, run({ beganAt: now })], now).state).toBe('running');
    expect(standing([good, run({ endedAt: now, exit: 0 })], now).state).toBe('done');
  });

  test('one that began before and ends after the due time has answered for it; one that still runs has not', () => {
    const beganAt = due3 - hourMs;
    const now = due3 + 30 * minuteMs;
    expect(standing([good, run({ beganAt, endedAt: due3 + minuteMs, exit: 0 })], now).state).toBe(
      'done',
    );
    expect(standing([good, run({ beganAt })], now).state).toBe('overdue');
  });

  test('clocks differ: who begins a moment early is the one that was due', () => {
    const early = run({ beganAt: due3 - 40_000, endedAt: due3 - 10_000, exit: 0 });
    expect(standing([good, early], due3 + hourMs).state).toBe('done');
    const other = run({ beganAt: due3 - 61_000, endedAt: due3 - 10_000, exit: 0 });
    expect(standing([good, other], due3 + hourMs).state).toBe('overdue');
  });

  test('of a job of every minute no run answers for two', () => {
    const plan = {
      ...nightly,
      due: { kind: 'schedule', schedule: '* * * * *' } as const,
      allowMs: 1_000,
    };
    const beganAt = due3 - 20_000;
    const one = run({ beganAt, endedAt: beganAt + 1_000, exit: 0 });
    expect(standing([one], due3, { plan }).dueAt).toBe(due3 + minuteMs);
    const before = run({ beganAt: due3 - 50_000, endedAt: due3 - 49_000, exit: 0 });
    expect(standing([before], due3 - 5_000, { plan }).dueAt).toBe(due3);
  });
});

describe('a pause in place of a schedule', () => {
  const plan = { ...nightly, due: { kind: 'every', everyMs: 6 * hourMs } as const };

  test('counts from the last beginning, or from when it was agreed on', () => {
    expect(standing([], agreedAt, { plan }).dueAt).toBe(agreedAt + 6 * hourMs);
    const beganAt = agreedAt + 2 * hourMs;
    const one = run({ beganAt, endedAt: beganAt + minuteMs, exit: 0 });
    expect(standing([one], beganAt + hourMs, { plan }).dueAt).toBe(beganAt + 6 * hourMs);
    expect(standing([one], beganAt + 6 * hourMs + 20 * minuteMs, { plan }).state).toBe('overdue');
  });

  test('a run that took longer than the pause is followed by one', () => {
    const endedAt = agreedAt + 9 * hourMs;
    const long = run({ beganAt: agreedAt, endedAt, exit: 0 });
    expect(standing([long], endedAt, { plan }).dueAt).toBe(endedAt + 6 * hourMs);
  });
});

describe('how a run went', () => {
  test('a failure holds until a run ends well, also while the next one runs', () => {
    const failed = night(3, 192_000, {
      exit: 1,
      tail: 'mounting\n\u001b[31mno space left on device\n',
    });
    const next = run({ beganAt: due3 + dayMs });
    expect(standing([good, failed], due3 + hourMs).state).toBe('failed');
    expect(standing([good, failed, next], due3 + dayMs + minuteMs).state).toBe('failed');
    const ended = { ...next, endedAt: due3 + dayMs + hourMs, exit: 0 };
    expect(standing([good, failed, ended], due3 + dayMs + hourMs).state).toBe('done');
  });

  test('tells status, time and the last line', () => {
    const failed = night(3, 192_000, { exit: 1, tail: 'mounting\nno space left on device\n---' });
    expect(standing([failed], due3 + hourMs).observation.trouble).toMatchObject({
      reason: 'run-failed',
      detail: 'exit status 1 after 3 min 12 s: no space left on device',
    });
    const killed = run({ endedAt: due3, exit: 137 });
    expect(standing([killed], due3).observation.trouble?.detail).toBe('exit status 137 (signal 9)');
  });

  test('of overlapping runs the one that ended last counts', () => {
    const long = run({ beganAt: due3, endedAt: due3 + 50 * minuteMs, exit: 1 });
    const short = run({ beganAt: due3 + 5 * minuteMs, endedAt: due3 + 10 * minuteMs, exit: 0 });
    expect(standing([long, short], due3 + hourMs).state).toBe('failed');
    expect(
      standing([{ ...long, endedAt: null, exit: null }, short], due3 + 20 * minuteMs).state,
    ).toBe('running');
  });
});

describe('hanging', () => {
  const open = run({ beganAt: due3 });

  test('begins at its limit and lasts until it ends, or one after it has ended well', () => {
    expect(standing([good, open], due3 + 3 * hourMs - 1).state).toBe('running');
    const found = standing([good, open], due3 + 3 * hourMs);
    expect(found.state).toBe('hanging');
    expect(found.observation.trouble?.detail).toBe(
      'still running 3 h after it began, at 2026-11-03 02:15 (Europe/Dublin)',
    );
    const next = run({ beganAt: due3 + dayMs });
    const now = due3 + dayMs + hourMs;
    expect(standing([good, open, next], now).state).toBe('hanging');
    expect(standing([good, open, { ...next, endedAt: now, exit: 1 }], now).state).toBe('hanging');
    expect(standing([good, open, { ...next, endedAt: now, exit: 0 }], now).state).toBe('done');
    expect(standing([good, { ...open, endedAt: now, exit: 0 }], now).state).toBe('done');
  });

  test('one that ended well before the limit excuses nobody', () => {
    const short = run({ beganAt: due3 + minuteMs, endedAt: due3 + 2 * minuteMs, exit: 0 });
    expect(standing([open, short], due3 + 3 * hourMs).state).toBe('hanging');
  });

  test('an end without the name of a run belongs to the latest open one', () => {
    const later = run({ beganAt: due3 + minuteMs });
    expect(latestOpen(nightly, [open, later])?.id).toBe(later.id);
    expect(latestOpen(nightly, [good])).toBeNull();
    const afterAll = night(4);
    expect(latestOpen(nightly, [open, afterAll])).toBeNull();
  });
});

describe('when nobody looked', () => {
  const lookingAt = due3 + 2 * hourMs;
  const later = { ...since, lookingAt };

  test('what was due meanwhile is not known, and judged after what is allowed from then on', () => {
    const found = standing([good], lookingAt, { since: later });
    expect(found.observation).toMatchObject({ outcome: 'unproven' });
    expect(found.observation.trouble?.reason).toBe('run-unseen');
    expect(found).toMatchObject({ state: 'due', changesAt: lookingAt + 20 * minuteMs });
    const judged = standing([good], lookingAt + 20 * minuteMs, { since: later });
    expect(judged.state).toBe('overdue');
    expect(judged.observation.trouble?.detail).toMatch(
      /^not begun 20 min after somebody looked again/,
    );
  });

  test('what was not due meanwhile is as it was', () => {
    expect(standing([night(3)], lookingAt, { since: later }).observation.outcome).toBe('answered');
    const failed = night(3, minuteMs, { exit: 2 });
    expect(standing([failed], lookingAt, { since: later }).state).toBe('failed');
  });

  test('nor whether a run has ended that should have meanwhile', () => {
    const open = run({ beganAt: due3 - 4 * hourMs });
    const soon = { ...since, lookingAt: due3 };
    const found = standing([open, good], due3, { since: soon });
    expect(found.state).toBe('running');
    expect(found.observation.trouble?.reason).toBe('run-unseen');
    expect(standing([open, good], due3 + 20 * minuteMs, { since: soon }).state).toBe('hanging');
  });

  test('another schedule counts from when it was agreed on', () => {
    const agreed = { ...since, agreedAt: due3 + hourMs };
    expect(standing([good], due3 + 2 * hourMs, { since: agreed })).toMatchObject({
      state: 'done',
      dueAt: due3 + dayMs,
    });
  });
});
