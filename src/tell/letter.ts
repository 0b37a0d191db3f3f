/**
 * A notice as a letter: subject, lines, and the same lines as HTML. What mail carries, and what a template may name as a
 * whole (`text`). Everything a person needs to go and mend it, in the order in which they ask: what, since when, why,
 * where to look, where to go, what the owner once noted.
 */
import { parseInstant } from '../base/instants.ts';
import type { Event } from './event.ts';

export interface Letter {
  readonly subject: string;
  readonly text: string;
  readonly html: string;
}

export interface LetterGiven {
  /** An instant on the owner's clock: `25 Nov, 09:14`. */
  readonly sayInstant: (at: number) => string;
}

/** Characters of a subject; longer ones are cut by mail programs, and nobody sees where. */
const subjectCharsMax = 150;

export function letterOf({ data, type }: Event, { sayInstant }: LetterGiven): Letter {
  const link = textAt(data, 'link');
  const elsewhere = textAt(data, 'fallbackFor');
  const lines = linesOf(data, sayInstant);
  const links = [
    ...(textAt(data, 'service', 'open') ? [`Open it: ${textAt(data, 'service', 'open')}`] : []),
    ...(link ? [`On the board: ${link}`] : []),
  ];
  const noted = textAt(data, 'service', 'note');
  const note = noted === null ? [] : ['Your note:', ...noted.split('\n')];
  const paragraphs = [
    // A text of several lines has the sentence at its head.
    textAt(data, 'text')?.startsWith(data.summary) ? [] : [data.summary],
    lines,
    outputIn(data),
    note,
    links,
    elsewhere === null ? [] : [`It could not be delivered through "${elsewhere}".`],
    [`${type} · Rollcall`],
  ].filter((paragraph) => paragraph.length > 0);
  const chars = Array.from(data.summary);
  return {
    subject:
      chars.length > subjectCharsMax
        ? `${chars.slice(0, subjectCharsMax - 1).join('')}…`
        : data.summary,
    text: `${paragraphs.map((paragraph) => paragraph.join('\n')).join('\n\n')}\n`,
    html: `<!doctype html><html lang="en"><meta charset="utf-8"><title>${escaped(data.summary)}</title><body>${paragraphs
      .map((paragraph) => {
        // What a peer said is not made a link.
        const isOwn = paragraph === links || paragraph === note;
        return `<p>${paragraph.map(isOwn ? linked : escaped).join('<br>')}</p>`;
      })
      .join('')}</body></html>`,
  };
}

function linesOf(data: Event['data'], sayInstant: LetterGiven['sayInstant']): readonly string[] {
  const said = (label: string, ...path: readonly string[]) => {
    const text = textAt(data, ...path);
    const at = text === null ? null : parseInstant(text);
    return text === null ? [] : [`${label}: ${at === null ? text : sayInstant(at)}`];
  };
  const body = textAt(data, 'text');
  return [
    ...(body === null ? [] : body.split('\n')),
    ...said('Since', 'since'),
    ...said('Last good answer', 'outage', 'lastGoodAt'),
    ...said('Restored', 'outage', 'restoredAt'),
    ...said('What failed', 'observation', 'layer'),
    ...said('What was seen', 'observation', 'detail'),
    ...said('Where to look', 'observation', 'hint'),
    ...said('Behind', 'cause'),
    ...said('Ends', 'certificate', 'endsAt'),
    ...said('Issued by', 'certificate', 'issuer'),
  ];
}

/** Of the run that the message is about, not of one before. */
function outputIn(data: Event['data']): readonly string[] {
  const output = textAt(data, 'job', 'run', 'output');
  const reason = textAt(data, 'observation', 'reason') ?? '';
  if (output === null || !['run-failed', 'run-unusual'].includes(reason)) return [];
  return ['The end of its output:', ...output.split('\n')];
}

/** A text that is not empty, somewhere in the data; null where there is none. */
function textAt(data: Event['data'], ...path: readonly string[]): string | null {
  let at: unknown = data;
  for (const step of path) {
    at = typeof at === 'object' && at !== null ? (at as Record<string, unknown>)[step] : undefined;
  }
  return typeof at === 'string' && at.trim() !== '' ? at : null;
}

/** Addresses become links; everything is escaped. */
function linked(line: string): string {
  return escaped(line).replace(
    /https?:\/\/[^\s<>"']+/g,
    (address) => `<a href="${address}">${address}</a>`,
  );
}

export function escaped(text: string): string {
  return text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;');
}
