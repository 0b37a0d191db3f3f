/** Instants and latencies in words for people: 24-hour clock, in the board's own zone. */
import { sayDuration } from '../base/durations.ts';
import { instantText } from '../base/instants.ts';
import { instantsKeptCountMax } from '../base/limits.ts';

export interface Moment {
  readonly iso: string;
  readonly text: string;
}

export interface Zone {
  readonly name: string;
  /** To the second today (`09:14:05`), else with the day: `24 Nov, 09:14`, `24 Nov 2025, 09:14`. */
  exact(at: number, now: number): Moment;
  /** To the minute. */
  moment(at: number, now: number): Moment;
  /** `Wednesday 25 November 2026, 09:41:05`. */
  whole(at: number): Moment;
  /** Hour and minute on the clock of the zone. */
  hour(at: number): string;
  /** Another word on another day of the zone. */
  day(at: number): string;
}

type Field = 'weekday' | 'day' | 'month' | 'year' | 'hour' | 'minute' | 'second';
type Fields = Readonly<Record<Field, string>>;

/** Throws a RangeError for a zone that the system does not know. */
export function zoneOf(name: string): Zone {
  const long = fieldsIn(name, 'long');
  const short = fieldsIn(name, 'short');

  const said = (at: number, now: number, clockOf: (fields: Fields) => string): Moment => {
    const then = short(at);
    const today = short(now);
    const iso = instantText(at);
    if (then.year !== today.year) {
      return { iso, text: `${then.day} ${then.month} ${then.year}, ${minutes(then)}` };
    }
    if (then.day !== today.day || then.month !== today.month) {
      return { iso, text: `${then.day} ${then.month}, ${minutes(then)}` };
    }
    return { iso, text: clockOf(then) };
  };

  return {
    name,
    exact: (at, now) => said(at, now, seconds),
    moment: (at, now) => said(at, now, minutes),
    whole: (at) => {
      const fields = long(at);
      const { weekday, day, month, year } = fields;
      return {
        iso: instantText(at),
        text: `${weekday} ${day} ${month} ${year}, ${seconds(fields)}`,
      };
    },
    hour: (at) => minutes(short(at)),
    day: (at) => {
      const { day, month, year } = short(at);
      return `${day} ${month} ${year}`;
    },
  };
}

function fieldsIn(timeZone: string, length: 'long' | 'short'): (at: number) => Fields {
  const format = new Intl.DateTimeFormat('en-GB', {
    timeZone,
    hourCycle: 'h23',
    weekday: length,
    day: 'numeric',
    month: length,
    year: 'numeric',
    hour: '2-digit',
    minute: '2-digit',
    second: '2-digit',
  });
  // The same few instants are said again and again, and to say one takes long.
  const said = new Map<number, Fields>();
  return (at) => {
    const second = Math.floor(at / 1_000);
    const known = said.get(second);
    if (known) return known;
    if (said.size >= instantsKeptCountMax) said.clear();
    const fields = partsOf(format, at);
    said.set(second, fields);
    return fields;
  };
}

function partsOf(format: Intl.DateTimeFormat, at: number): Fields {
  const parts = format.formatToParts(at);
  const textOf = (type: Field) => parts.find((part) => part.type === type)?.value ?? '';
  return {
    weekday: textOf('weekday'),
    day: textOf('day'),
    month: textOf('month'),
    year: textOf('year'),
    hour: textOf('hour'),
    minute: textOf('minute'),
    second: textOf('second'),
  };
}

function minutes({ hour, minute }: Fields): string {
  return `${hour}:${minute}`;
}

function seconds(fields: Fields): string {
  return `${minutes(fields)}:${fields.second}`;
}

/** `0.41 ms`, `4.1 ms`, `412 ms`, `1.24 s`. */
export function sayTook(tookUs: number): string {
  const ms = tookUs / 1_000;
  if (ms < 9.95) return unbroken(`${ms.toFixed(ms < 0.995 ? 2 : 1)} ms`);
  if (ms < 999.5) return unbroken(`${Math.round(ms)} ms`);
  return unbroken(`${(ms / 1_000).toFixed(2)} s`);
}

/** `14 min`, `3 h 5 min`, as `sayDuration` says it, for a page. */
export function sayLasting(durationMs: number): string {
  return unbroken(sayDuration(Math.max(0, durationMs)));
}

/** A number and its unit stay on one line. */
export function unbroken(text: string): string {
  return text.replace(/(\d) (?=\p{L}|%)/gu, '$1\u00a0');
}

/** `812 kB`, `12.3 MB`: powers of a thousand. */
export function saySize(sizeBytes: number): string {
  if (sizeBytes < 999_500) return `${Math.ceil(sizeBytes / 1_000)} kB`;
  if (sizeBytes < 999_500_000) return `${(sizeBytes / 1_000_000).toFixed(1)} MB`;
  return `${(sizeBytes / 1_000_000_000).toFixed(1)} GB`;
}

/** `1 outage`, `3 outages`, `no outage`. */
export function sayCount(count: number, one: string, many = `${one}s`): string {
  if (count === 0) return `no ${one}`;
  return count === 1 ? `1 ${one}` : `${count} ${many}`;
}
