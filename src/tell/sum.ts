/**
 * What waited through quiet hours, in one message: a line for each service (what was down from when to when, what is
 * down now), and the sentence of everything else. Pure. The newest state counts: nobody needs to read what is over in
 * three messages.
 */
import { sayDuration } from '../base/durations.ts';
import { instantText, parseInstant } from '../base/instants.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import { listed } from '../base/words.ts';
import type { Notice, NoticeData } from '../record/record.ts';
import type { Stretch } from './quiet.ts';

export interface SumGiven {
  /** In the order in which they were made. */
  readonly notices: readonly Notice[];
  readonly stretch: Stretch;
  /** When outages ended of whose end there is no notice among these: not every channel wants to hear of it. By id. */
  readonly endedAt?: ReadonlyMap<string, number>;
  /** An instant on the owner's clock, seen from `now`: `03:10`, or with the day where it is another. */
  readonly sayInstant: (at: number, now: number) => string;
}

interface Line {
  readonly service: { readonly id: string; readonly name: string } | null;
  readonly text: string;
  readonly isDown: boolean;
}

/** A digest (interface §5) of the period `quiet`. */
export function sumOf({ notices, stretch, endedAt = new Map(), sayInstant }: SumGiven): NoticeData {
  const say = (at: number) => sayInstant(at, stretch.to);
  const lines = linesOf(notices, say, endedAt).toSorted(
    (a, b) => Number(b.isDown) - Number(a.isDown),
  );
  const period = `In the quiet hours, ${say(stretch.from)} to ${say(stretch.to)}`;
  return {
    summary: `${period}: ${summaryOf(lines)}.`,
    text: lines.map(({ text }) => text).join('\n'),
    period: 'quiet',
    from: instantText(stretch.from),
    to: instantText(stretch.to),
    lines: lines.map(({ service, text }) => ({ service, text })),
  };
}

function summaryOf(lines: readonly Line[]): string {
  const [only] = lines;
  if (only && lines.length === 1) return only.text.replace(/\.$/, '');
  const down = lines.filter(({ isDown }) => isDown).map(({ service }) => service?.name ?? '');
  const others = lines.filter(({ isDown }) => !isDown);
  const names = [...new Set(others.flatMap(({ service }) => service?.name ?? []))];
  const moreCount = others.length - others.filter(({ service }) => service !== null).length;
  const parts = [
    ...(down.length === 0
      ? []
      : [
          `${listed(down, namesInSentenceCountMax)} ${down.length === 1 ? 'is' : 'are'} still down`,
        ]),
    ...(names.length === 0 ? [] : [`there is news of ${listed(names, namesInSentenceCountMax)}`]),
    ...(moreCount === 0 ? [] : [`${moreCount} other ${moreCount === 1 ? 'message' : 'messages'}`]),
  ];
  return parts.join('; ');
}

type SayInstant = (at: number) => string;

type Ends = ReadonlyMap<string, number>;

function linesOf(notices: readonly Notice[], say: SayInstant, endedAt: Ends): readonly Line[] {
  const byService = new Map<string, Notice[]>();
  for (const notice of notices) {
    if (notice.serviceId === null || !isState(notice)) continue;
    const before = byService.get(notice.serviceId);
    if (before) before.push(notice);
    else byService.set(notice.serviceId, [notice]);
  }
  const others = notices.filter((notice) => notice.serviceId === null || !isState(notice));
  return [
    ...[...byService].map(([id, own]) => lineOf(id, own, { say, stays: staysIn(own, endedAt) })),
    ...others.map(
      (notice): Line => ({
        service: notice.serviceId === null ? null : { id: notice.serviceId, name: nameOf(notice) },
        text: notice.data.summary,
        isDown: false,
      }),
    ),
  ];
}

/** About how a service stands. What else is told of one has nothing newer: each says something of its own. */
function isState({ type }: Notice): boolean {
  return /^rollcall\.(?:service\.(?:down|up|degraded|unobserved|unsteady|steady)|outage\.reminder)$/.test(
    type,
  );
}

interface Stay {
  readonly from: number;
  readonly to: number | null;
}

function lineOf(
  id: string,
  notices: readonly Notice[],
  { say, stays }: { readonly say: SayInstant; readonly stays: readonly Stay[] },
): Line {
  const newest = notices.at(-1);
  const name = newest ? nameOf(newest) : id;
  const service = { id, name };
  const last = stays.at(-1);
  if (!newest || !last) return { service, text: newest?.data.summary ?? '', isDown: false };
  const over = stays.flatMap(({ from, to }) => {
    return to === null ? [] : [`${say(from)}–${say(to)} (${sayDuration(to - from)})`];
  });
  // What it was before says nothing of how it is now.
  if (/\.(?:unobserved|unsteady|steady)$/.test(newest.type)) {
    return { service, text: newest.data.summary, isDown: false };
  }
  if (last.to === null) {
    const before = over.length === 0 ? '' : ` It was down ${listed(over, staysCountMax)} before.`;
    const lasts = isJob(newest) ? 'has been failing' : 'has been down';
    const text = `${name} ${lasts} since ${say(last.from)}${whyOf(notices)}.${before}`;
    return { service, text, isDown: true };
  }
  const [was, again] = isJob(newest) ? ['failing', 'in order'] : ['down', 'up'];
  const standing = newest.type === 'rollcall.service.degraded' ? ', but degraded' : '';
  return {
    service,
    text: `${name} was ${was} ${listed(over, staysCountMax)}, is ${again} again${standing}.`,
    isDown: false,
  };
}

const staysCountMax = 4;

/** The outages that these are about, in order, each as the newest of them has it, or as it ended without one. */
function staysIn(notices: readonly Notice[], endedAt: Ends): readonly Stay[] {
  const stays = new Map<string, Stay>();
  for (const { outageId, data } of notices) {
    const from = instantAt(data['outage'], 'firstFailedAt');
    if (outageId === null || from === null) continue;
    const to = instantAt(data['outage'], 'restoredAt') ?? endedAt.get(outageId) ?? null;
    stays.set(outageId, { from, to });
  }
  return [...stays.values()].toSorted((a, b) => a.from - b.from);
}

/** `: nothing listens on …`, as it was seen when it was told last. */
function whyOf(notices: readonly Notice[]): string {
  const detail = notices.map(({ data }) => textAt(data['observation'], 'detail')).findLast(Boolean);
  return detail ? `: ${detail.replace(/[.\s]+$/, '')}` : '';
}

/** Of a job the data has its last run. */
function isJob({ data }: Notice): boolean {
  return typeof data['job'] === 'object' && data['job'] !== null;
}

function nameOf({ data, serviceId }: Notice): string {
  return textAt(data['service'], 'name') ?? serviceId ?? '';
}

function instantAt(given: unknown, key: string): number | null {
  const text = textAt(given, key);
  return text === null ? null : parseInstant(text);
}

function textAt(given: unknown, key: string): string | null {
  if (typeof given !== 'object' || given === null) return null;
  const value: unknown = Reflect.get(given, key);
  return typeof value === 'string' ? value : null;
}
