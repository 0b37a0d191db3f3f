/** Reads a configuration: all its mistakes at once, or what the house works with. */
import { resolve } from 'node:path';
import { configBytesMax } from '../base/limits.ts';
import { explain, labelOf, type Remark, type Subject, sayFound } from './explain.ts';
import { type ReadFile, readBounded, readNamedFile, readRegular, readText } from './files.ts';
import { type Env, type Filled, type FillMistake, fill } from './fill.ts';
import { type Located, valueAt } from './located.ts';
import { secretMasker } from './mask.ts';
import { inOrder, type Mistake, pathText } from './mistake.ts';
import { plannedFindings } from './planned.ts';
import { checkReferences } from './references.ts';
import { type Config, resolveConfig } from './resolve.ts';
import { configSchema } from './schema.ts';
import { secretsOf } from './secrets.ts';
import { timingFindings } from './timing.ts';
import { validate } from './validate.ts';
import { readYaml, type YamlText } from './yaml.ts';

export type Loaded =
  | {
      readonly ok: true;
      readonly config: Config;
      /** For `maskSecrets`: whatever must not be printed, in no order. */
      readonly secrets: readonly string[];
    }
  | { readonly ok: false; readonly mistakes: readonly Mistake[] };

interface LoadOptions {
  /** Of the configuration; relative to the working folder. */
  readonly path: string;
  readonly env: Env;
  /** Reads the configuration and what its `file:` values name; by default the file system. */
  readonly readFile?: ReadFile;
}

interface LoadTextOptions {
  readonly text: string;
  /** What the text is called in mistakes; `file:PATH` values are relative to its folder. */
  readonly file: string;
  readonly env: Env;
  readonly readFile?: ReadFile;
}

export function loadConfig({ path, env, readFile }: LoadOptions): Loaded {
  const read = readText(path, configBytesMax, readFile ?? readBounded);
  if (!read.ok) return onlyMistake(path, `the configuration ${resolve(path)} ${read.why}`);
  return loadConfigText({ text: read.text, file: path, env, ...(readFile && { readFile }) });
}

export function loadConfigText({ text, file, env, readFile }: LoadTextOptions): Loaded {
  if (Buffer.byteLength(text) > configBytesMax) {
    return onlyMistake(file, `the configuration is longer than ${configBytesMax / 1_024} KiB`);
  }
  const yaml = readYaml(text);
  if (yaml.root === null) {
    const empty = 'the file is empty: expected `services:` with at least one service';
    return yaml.mistakes.length > 0 ? failed(file, yaml, []) : onlyMistake(file, empty);
  }
  const filled = fill(yaml.root, {
    file,
    env,
    readNamed: (path) => readNamedFile(path, readFile ?? readRegular),
  });
  if (filled.root.type !== 'map') return failed(file, yaml, [notABlock(filled.root)]);
  return examine({ file, yaml, filled });
}

interface Read {
  readonly file: string;
  readonly yaml: YamlText;
  readonly filled: Filled;
}

function examine({ file, yaml, filled }: Read): Loaded {
  const { root, fillings } = filled;
  const { parsed, value, findings } = validate(root);
  const secrets = secretsOf(root, fillings);
  const subject: Subject = { root, value, schema: configSchema };
  const explained = [...findings, ...timingFindings(value), ...plannedFindings(value)]
    .map((finding) => explain(subject, finding))
    .filter((remark) => remark !== null);
  const remarks: Remark[] = [
    ...filled.mistakes.map((mistake) => unfilled(root, mistake)),
    ...explained,
    ...checkReferences(root),
  ];
  if (yaml.mistakes.length === 0 && remarks.length === 0 && parsed !== null) {
    return { ok: true, config: resolveConfig(parsed, secretMasker(secrets)), secrets };
  }
  // No sentence is made of a secret; should one slip in all the same, it is taken out here.
  const mask = secretMasker([...secrets, ...fillings.map(({ text }) => text)]);
  return failed(
    file,
    yaml,
    remarks.map((remark) => ({ ...remark, message: mask(remark.message) })),
  );
}

function unfilled(root: Located, { at, path, message }: FillMistake): Remark {
  return { at, path, message: `${labelOf(root, path)}: ${message}`, ofWhole: false };
}

function notABlock(root: Located): Remark {
  const item = valueAt(root, [0]);
  const isServices =
    item?.type === 'map' && (item.entries.has('probe') || item.entries.has('name'));
  const advice = isServices
    ? 'put `services:` on a line above it'
    : 'expected keys, such as `services:`';
  const message = `the file: found ${sayFound(root, false)}; ${advice}`;
  return { at: root.at, path: [], message, ofWhole: false };
}

/** From the first line on that YAML itself could not make sense of, only YAML's own mistakes are worth telling. */
function failed(file: string, yaml: YamlText, remarks: readonly Remark[]): Loaded {
  const { trustedLines } = yaml;
  const trusted = remarks.filter(
    ({ at, ofWhole }) => trustedLines === null || (at.line <= trustedLines && !ofWhole),
  );
  const mistakes = [
    ...yaml.mistakes.map(({ at, message }) => ({ file, ...at, path: '', message })),
    ...trusted.map(({ at, path, message }) => ({ file, ...at, path: pathText(path), message })),
  ];
  return { ok: false, mistakes: inOrder(mistakes) };
}

function onlyMistake(file: string, message: string): Loaded {
  return { ok: false, mistakes: [{ file, line: 1, column: 1, path: '', message }] };
}
