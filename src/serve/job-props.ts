/** A job's page, from what is known of its runs. */

import type { FigureProps } from '../../web/props.ts';
import type { JobPageProps, RunRowProps, RunStripProps } from '../../web/props-job.ts';
import type { JobPlan, JobRun, JobStanding } from '../base/jobs.ts';
import { runAt } from '../base/jobs.ts';
import { runsInStripCountMax, runsOnPageCountMax } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Board } from './board.ts';
import { endWords, jobRemarks } from './job-words.ts';
import type { JobsSource } from './jobs-source.ts';
import { runsFile } from './links.ts';
import { serviceProps } from './service-props.ts';
import { sayCount, sayLasting, unbroken } from './zone.ts';

const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

/** Null: it is no job. */
export async function jobProps(
  board: Board,
  card: ServiceCard,
): Promise<Omit<JobPageProps, 'frame'> | null> {
  const { jobs, record } = board;
  const plan = jobs?.planOf(card.id);
  if (!jobs || !plan) return null;
  const [asService, runs] = await Promise.all([
    serviceProps(board, card, 'day'),
    record.runs(card.id, always, runsInStripCountMax),
  ]);
  const { now, name, state, remarks, open, group, note, trouble } = asService;
  const { figures, budget, outages, planned, needs, neededBy } = asService;
  const standing = jobs.standingOf(card.id);
  const ofJobs = jobRemarks(board, card.id);
  return {
    ...{ now, name, state, open, group, note, trouble },
    // When it is due stands in the sentence.
    remarks: remarks.filter((remark) => !ofJobs.includes(remark)),
    figures: figures.map(asOfJob),
    ...{ budget, outages, planned, needs, neededBy },
    sentence: standingSentence(name, standing, board),
    agreed: agreedText(card, plan),
    next: nextFigures(board, jobs, card.id),
    output: outputOf(board, runs),
    strip: stripOf(runs),
    runs: runs.slice(0, runsOnPageCountMax).map((run) => rowOf(board, run)),
    programs: { name: 'JSON', href: runsFile(board, card.id) },
  };
}

function standingSentence(name: string, standing: JobStanding, board: Board): string {
  const { state, dueAt, observation } = standing;
  const reason = observation.trouble?.reason;
  const now = board.clock.wallMs();
  const at = dueAt === null ? null : board.zone.moment(dueAt, now).text;
  const next =
    at === null ? '' : dueAt !== null && dueAt > now ? `; next due ${at}` : `; due since ${at}`;
  const words: Readonly<Record<JobStanding['state'], string>> = {
    due:
      dueAt !== null && dueAt > now
        ? `waits for its first run${next}`
        : `is due${at === null ? '' : ` since ${at}`}`,
    running: reason === 'run-slow' ? 'is running, for longer than usual' : 'is running',
    done: `${reason === undefined ? 'has run well' : 'has run, but not as usual'}${next}`,
    failed: `has failed${next}`,
    overdue: `is overdue${at === null ? '' : `: it was due ${at}`}`,
    hanging: 'hangs: it is still running',
  };
  return `${name} ${words[state]}.`;
}

function agreedText({ where }: ServiceCard, plan: JobPlan): string {
  const { allowMs, limitMs } = plan;
  const due =
    plan.due.kind === 'every'
      ? `${sayLasting(plan.due.everyMs)} after its last run began`
      : `by ${where}`;
  return `Due ${due}; overdue ${sayLasting(allowMs)} after that. A run hangs after ${sayLasting(limitMs)}.`;
}

/** What is said of a service that is asked is not so of a job. */
function asOfJob(figure: FigureProps): FigureProps {
  const meaning = meaningsOfJobs[figure.word];
  return meaning === undefined ? figure : { ...figure, meaning };
}

const meaningsOfJobs: Readonly<Record<string, string>> = {
  Availability:
    'Share of the observed time in which it was in order; not as usual counts as in order.',
  Outages: 'Times in which it had failed, was overdue, or hung.',
  'Mean time to restoration': 'From then until a run ended well, or, where it was overdue, began.',
};

function nextFigures(board: Board, jobs: JobsSource, jobId: string): FigureProps[] {
  const now = board.clock.wallMs();
  const { dueAt } = jobs.standingOf(jobId);
  const last = jobs.lastRunOf(jobId);
  const figure = (word: string, value: string, aside: string | null = null): FigureProps => ({
    ...{ word, value, aside },
    meaning: '',
  });
  return [
    dueAt === null
      ? figure('Next due', 'never again')
      : figure(dueAt > now ? 'Next due' : 'Was due', board.zone.moment(dueAt, now).text),
    last
      ? figure('Last run', board.zone.moment(runAt(last), now).text, endWords(last))
      : figure('Last run', 'none so far'),
  ];
}

function rowOf(board: Board, run: JobRun): RunRowProps {
  const now = board.clock.wallMs();
  return {
    id: run.id,
    at: board.zone.exact(runAt(run), now),
    what: endWords(run),
    told:
      run.value === null
        ? null
        : `${numberText(run.value)}${run.unit === null ? '' : ` ${run.unit}`}`,
  };
}

/** Of the run that ended last, as far as it is among these. */
function outputOf(board: Board, runs: readonly JobRun[]): JobPageProps['output'] {
  const ended = runs.filter(({ endedAt }) => endedAt !== null);
  const [last] = ended.toSorted((one, other) => (other.endedAt ?? 0) - (one.endedAt ?? 0));
  if (!last || last.tail === null) return null;
  const at = board.zone.moment(last.endedAt ?? 0, board.clock.wallMs()).text;
  return { heading: 'End of its output', text: `${last.tail}\n\n[${endWords(last)}, ${at}]` };
}

/** Two runs make a course. */
function stripOf(newestFirst: readonly JobRun[]): RunStripProps | null {
  if (newestFirst.length < 2) return null;
  const runs = newestFirst.toReversed();
  const tookMs = runs.flatMap(({ beganAt, endedAt }) =>
    beganAt === null || endedAt === null ? [] : [endedAt - beganAt],
  );
  const longestMs = Math.max(...tookMs, 1);
  const bars = runs.map((run) => {
    const end = run.endedAt === null ? 'open' : run.exit === 0 ? 'well' : 'failed';
    const tookOne = run.beganAt === null || run.endedAt === null ? null : run.endedAt - run.beganAt;
    // Of a run whose beginning nobody told, no more than that it was; where that is so of all, the bars may as well be seen.
    const share =
      tookOne === null ? Number(run.endedAt === null || tookMs.length === 0) : tookOne / longestMs;
    const height = Math.max(100 * share, leastHeight);
    return { id: run.id, height, end } as const;
  });
  const count = (end: 'well' | 'failed' | 'open') => bars.filter((bar) => bar.end === end).length;
  const parts = [
    `${count('well')} ended well`,
    ...(count('failed') === 0 ? [] : [`${count('failed')} failed`]),
    ...(count('open') === 0 ? [] : [`${count('open')} without a known end`]),
    ...(tookMs.length === 0 ? [] : [`the longest took ${sayLasting(longestMs)}`]),
  ];
  return { label: `${sayCount(runs.length, 'run')}, the oldest first: ${parts.join('; ')}.`, bars };
}

/** Percent: a bar is seen, however short its run was. */
const leastHeight = 6;

function numberText(value: number): string {
  return unbroken(new Intl.NumberFormat('en', { maximumSignificantDigits: 6 }).format(value));
}
