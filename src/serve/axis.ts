/** The ruling of a sheet of chart paper: hours, days and months on the clock of the zone; latencies by powers of ten. */
import { Temporal } from 'temporal-polyfill';
import type { SheetProps, TickProps } from '../../web/props.ts';
import type { Range } from '../record/record.ts';

const hourMs = 3_600_000;
const dayMs = 24 * hourMs;

/** What two neighbouring lines are apart. */
type Pace = 'hours' | 'days' | 'weeks' | 'months';

/** Lines close enough to read a time by, and few enough to be calm. */
function paceOf(lengthMs: number): Pace {
  if (lengthMs <= 2 * dayMs) return 'hours';
  if (lengthMs <= 14 * dayMs) return 'days';
  return lengthMs <= 70 * dayMs ? 'weeks' : 'months';
}

/** The paper of the roll is the same for all, and for ten minutes. */
const ruled = new Map<string, readonly TickProps[]>();
const ruledCountMax = 100;

/** In order of time. On a day of 23 or 25 hours, too, each line stands where the clock of the zone shows what it says. */
export function ticksOf(range: Range, zone: string): readonly TickProps[] {
  const name = `${zone} ${range.from} ${range.to}`;
  const known = ruled.get(name);
  if (known) return known;
  if (ruled.size >= ruledCountMax) ruled.clear();
  const ticks = ticksFrom(range, zone);
  ruled.set(name, ticks);
  return ticks;
}

function ticksFrom(range: Range, zone: string): TickProps[] {
  const pace = paceOf(range.to - range.from);
  return (
    [...linesOf(range, zone, pace)]
      .filter(({ epochMilliseconds: at }) => at >= range.from && at < range.to)
      // A date that the zone left out begins with the one after it.
      .filter((line, index, all) => line.epochMilliseconds !== all[index - 1]?.epochMilliseconds)
      .map((line) => ({ at: line.epochMilliseconds, ...wordsOf(line, pace, range) }))
  );
}

/** From the beginning of the first day or month that the range touches; some may lie outside of it. */
function* linesOf(range: Range, zone: string, pace: Pace): Generator<Temporal.ZonedDateTime> {
  const first = Temporal.Instant.fromEpochMilliseconds(range.from).toZonedDateTimeISO(zone);
  let date = first.toPlainDate();
  if (pace === 'months') date = date.with({ day: 1 });
  if (pace === 'weeks') date = date.subtract({ days: date.dayOfWeek - 1 });
  for (;;) {
    const begins = date.toZonedDateTime(zone);
    if (begins.epochMilliseconds >= range.to) return;
    yield begins;
    if (pace === 'hours') yield* hoursOf(date, zone, range);
    date = date.add(pace === 'hours' ? { days: 1 } : { [pace]: 1 });
  }
}

/** Every third hour after midnight; every full five minutes where only an hour or two is shown. */
function* hoursOf(
  date: Temporal.PlainDate,
  timeZone: string,
  range: Range,
): Generator<Temporal.ZonedDateTime> {
  const minutes = minutesApart(range.to - range.from);
  for (let minute = minutes; minute < 24 * 60; minute += minutes) {
    const plainTime = Temporal.PlainTime.from({
      hour: Math.floor(minute / 60),
      minute: minute % 60,
    });
    yield date.toZonedDateTime({ timeZone, plainTime });
  }
}

/** At most nine lines; each of these divides a day. */
function minutesApart(lengthMs: number): number {
  const wanted = lengthMs / 60_000 / 9;
  return [1, 2, 5, 10, 15, 30, 60, 120, 180, 360].find((minutes) => minutes >= wanted) ?? 360;
}

const shortMonths = [
  'Jan',
  'Feb',
  'Mar',
  'Apr',
  'May',
  'Jun',
  'Jul',
  'Aug',
  'Sep',
  'Oct',
  'Nov',
  'Dec',
];
const shortDays = ['Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat', 'Sun'];

function wordsOf(
  { hour, minute, day, month, year, dayOfWeek }: Temporal.ZonedDateTime,
  pace: Pace,
  range: Range,
): Omit<TickProps, 'at'> {
  const monthWord = shortMonths[month - 1] ?? '';
  const date = `${day} ${monthWord}`;
  switch (pace) {
    case 'hours': {
      const begins = hour === 0 && minute === 0;
      const time = `${two(hour)}:${two(minute)}`;
      // On narrow paper only every other line has room for a word.
      const apart = minutesApart(range.to - range.from);
      const isSilent = ((60 * hour + minute) / apart) % 2 !== 0;
      return { label: begins ? date : isSilent ? null : time, begins };
    }
    case 'days':
      return { label: `${shortDays[dayOfWeek - 1]} ${day}`, begins: dayOfWeek === 1 };
    case 'weeks':
      return { label: date, begins: false };
    case 'months':
      // On narrow paper only every other month has room for a word.
      return {
        label: month === 1 ? String(year) : month % 2 === 1 ? monthWord : null,
        begins: month === 1,
      };
  }
}

function two(number: number): string {
  return String(number).padStart(2, '0');
}

/** The powers of ten around the values, at least one decade, so that the scale is calm from one look to the next. */
export function decadesOf(tookUs: Iterable<number>): SheetProps['decades'] {
  let [least, most] = [Number.POSITIVE_INFINITY, -1];
  for (const us of tookUs) {
    least = Math.min(least, Math.max(us, 1));
    most = Math.max(most, us, 1);
  }
  const [low, high] =
    most < 0 ? [3, 4] : [Math.floor(Math.log10(least)), Math.ceil(Math.log10(most))];
  return Array.from({ length: Math.max(high - low, 1) + 1 }, (_, index) => {
    const us = 10 ** (low + index);
    return { us, label: sayScale(us) };
  });
}

function sayScale(us: number): string {
  if (us < 1_000) return `${us}\u00a0µs`;
  return us < 1_000_000 ? `${us / 1_000}\u00a0ms` : `${us / 1_000_000}\u00a0s`;
}
