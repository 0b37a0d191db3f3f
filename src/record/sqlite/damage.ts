/** What is said of a damaged file, and for how long. */
import { existsSync } from 'node:fs';
import { basename, join } from 'node:path';
import { instantText } from '../../base/instants.ts';
import type { Recovered } from './recover.ts';

export interface Damage {
  /** Sentences for people. */
  readonly said: string;
  /** Name of the file that was set aside. As long as it lies in the folder, it is spoken of. Null: until the next start. */
  readonly aside: string | null;
}

interface DamagedGiven {
  /** A sentence. */
  readonly found: string;
  readonly at: number;
  /** Path. */
  readonly aside: string;
  readonly recovered: Recovered;
}

export function damaged({ found, at, aside, recovered }: DamagedGiven): Damage {
  const { backup, whole } = recovered;
  const name = basename(aside);
  const place =
    backup === null
      ? 'A new file took its place'
      : `The backup ${basename(backup.path)} took its place`;
  const since =
    backup?.pulseAt == null ? 'Something' : `Something after ${sayInstant(backup.pulseAt)}`;
  const kept = whole
    ? 'with everything that it held: nothing is missing.'
    : `with what could be read of it. ${since} may be missing.`;
  return {
    said: `The record's file was found damaged at ${sayInstant(at)}. ${found} ${place}, ${kept} The damaged file is kept as ${name}; this is said until you delete that.`,
    aside: name,
  };
}

/** `foreign`: name of the file that lay in its place. */
export function rescued(at: number, foreign: string | null): Damage {
  const gone = `The record's file was found ${foreign === null ? 'removed' : 'replaced by another one'} at ${sayInstant(at)}.`;
  const kept =
    foreign === null
      ? ''
      : ` The other file is kept as ${foreign}; this is said until you delete that.`;
  return {
    said: `${gone} The daemon wrote what it had open to a new file: nothing is missing.${kept}`,
    aside: foreign,
  };
}

/** Null once its file is deleted. */
export function stillSaid(damage: Damage | null, folder: string): string | null {
  if (damage === null) return null;
  const { said, aside } = damage;
  return aside === null || existsSync(join(folder, aside)) ? said : null;
}

/** From what the record keeps of it; null: nothing, or not to be understood. */
export function damageFrom(words: string | null): Damage | null {
  if (words === null) return null;
  const [aside, said] = words.split('\n', 2);
  return aside === undefined || said === undefined
    ? null
    : { aside: aside === '' ? null : aside, said };
}

export function damageWords({ said, aside }: Damage): string {
  return `${aside ?? ''}\n${said}`;
}

/** `2026-11-25 04:00 UTC`. */
function sayInstant(at: number): string {
  return `${instantText(at).slice(0, 16).replace('T', ' ')} UTC`;
}
