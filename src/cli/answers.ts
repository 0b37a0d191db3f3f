/**
 * The table of `rollcall check`: one line a service; under it what was wrong and where to look, and what it told of
 * itself (and how it was asked, where there is a choice).
 */
import type { Answer } from '../base/answer.ts';
import type { Outcome } from '../base/values.ts';

const mark: { readonly [outcome in Outcome]: string } = {
  answered: '●',
  limited: '◐',
  failed: '✕',
  unproven: '?',
};

/** SGR codes (ECMA-48 §8.3.117); IEC 60073 for the colours: green normal, yellow abnormal, red danger. */
const sgr: { readonly [outcome in Outcome]: string } = {
  answered: '32',
  limited: '33',
  failed: '31',
  unproven: '90',
};

export function answersTable(answers: readonly Answer[], colour: boolean): string {
  if (answers.length === 0) return 'Nothing to ask.\n';
  const nameWidth = Math.max(...answers.map(({ name }) => name.length));
  const whereWidth = Math.max(...answers.map(({ where }) => where.length));
  return answers
    .map((answer) => {
      const { name, where, outcome, tookUs } = answer;
      const painted = colour ? `\u001b[${sgr[outcome]}m${mark[outcome]}\u001b[0m` : mark[outcome];
      const columns = [name.padEnd(nameWidth), where.padEnd(whereWidth), outcome.padEnd(8)];
      const line = `${painted} ${columns.join('  ')}  ${sayTook(tookUs).padStart(8)}\n`;
      return line + trouble(answer) + told(answer);
    })
    .join('');
}

function trouble({ layer, reason, detail, hint }: Answer): string {
  if (layer === null) return '';
  return `    ${layer}, ${reason}: ${detail}\n    ${hint}\n`;
}

function told({ facts }: Answer): string {
  const words = Object.entries(facts).map(([name, value]) => `${name} ${value}`);
  return words.length === 0 ? '' : `    ${words.join(', ')}\n`;
}

function sayTook(tookUs: number): string {
  return tookUs < 10_000 ? `${(tookUs / 1_000).toFixed(1)} ms` : `${Math.round(tookUs / 1_000)} ms`;
}
