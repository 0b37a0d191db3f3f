/** Configurations as texts in tests, and what is wrong with them in one line each. */
import { type Loaded, loadConfigText } from '../../src/config/load.ts';
import type { Mistake } from '../../src/config/mistake.ts';

interface Surroundings {
  readonly env?: Readonly<Record<string, string>>;
  /** Contents by absolute path; every other file is not there. */
  readonly files?: Readonly<Record<string, string | Uint8Array>>;
}

/** The text without its first line and without the indent that all of its lines have. */
export function dedent(text: string): string {
  const lines = text.replace(/^\n/, '').replace(/\n *$/, '\n').split('\n');
  const indents = lines.filter((line) => line.trim() !== '').map((line) => line.search(/\S/));
  const indent = Math.min(...indents);
  return lines.map((line) => line.slice(indent)).join('\n');
}

/** As if it stood in `/etc/rollcall/rollcall.yaml`. */
export function load(text: string, { env = {}, files = {} }: Surroundings = {}): Loaded {
  const readFile = (path: string): Uint8Array => {
    const content = files[path];
    if (content === undefined) throw Object.assign(new Error('no such file'), { code: 'ENOENT' });
    return typeof content === 'string' ? Buffer.from(content) : content;
  };
  return loadConfigText({ text, file: '/etc/rollcall/rollcall.yaml', env, readFile });
}

export function mistakesIn(text: string, around: Surroundings = {}): readonly Mistake[] {
  const loaded = load(text, around);
  return loaded.ok ? [] : loaded.mistakes;
}

/** `12:9 …` for each mistake of the dedented text. */
export function complaints(text: string, around: Surroundings = {}): readonly string[] {
  return mistakesIn(dedent(text), around).map(
    ({ line, column, message }) => `${line}:${column} ${message}`,
  );
}
