/**
 * A reader of OpenMetrics text that takes nothing but what the specification allows (draft-ietf-opsawg-openmetrics-00),
 * written apart from the writer in src/: no package of the registry reads this format strictly.
 */

export interface ReadFamily {
  readonly name: string;
  type: string;
  unit: string | null;
  help: string | null;
  readonly samples: ReadSample[];
}

export interface ReadSample {
  readonly name: string;
  readonly labels: Readonly<Record<string, string>>;
  readonly value: number;
}

const suffixes: Readonly<Record<string, readonly string[]>> = {
  counter: ['_total', '_created'],
  gauge: [''],
  info: ['_info'],
  stateset: [''],
  summary: ['', '_count', '_sum', '_created'],
  unknown: [''],
};

const sampleForm = /^([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{([^\n]*)\})? (\S+)$/;
const pairForm = /^([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\\n]|\\[\\"n])*)"(,|$)/;
const numberForm = /^[+-]?(?:\d+(?:\.\d*)?(?:[eE][+-]?\d+)?|Inf|NaN)$/;

/** Throws an Error that says what is wrong. */
export function readOpenMetrics(text: string): readonly ReadFamily[] {
  const end = text.startsWith('# EOF') ? 0 : text.indexOf('\n# EOF') + 1;
  if (!/^# EOF\n?$/.test(text.slice(end))) throw new Error('no end, or something behind it');
  const lines = text.slice(0, end).split('\n');
  if (lines.pop() !== '') throw new Error('the last line has no end');
  const families = new Map<string, ReadFamily>();
  let current: ReadFamily | null = null;
  const begin = (name: string): ReadFamily => {
    if (current?.name === name) return current;
    if (families.has(name)) throw new Error(`${name} is interleaved with others`);
    const family = { name, type: 'unknown', unit: null, help: null, samples: [] };
    families.set(name, family);
    current = family;
    return family;
  };
  for (const line of lines) {
    const [, what, name = '', rest = ''] = /^# (TYPE|UNIT|HELP) (\S+) (.*)$/.exec(line) ?? [];
    if (what !== undefined) {
      const family = begin(name);
      if (family.samples.length > 0) throw new Error(`${line} comes behind samples`);
      describe(family, what, rest);
    } else if (line.startsWith('#') || line.trim() !== line || line === '') {
      throw new Error(`not allowed here: ${JSON.stringify(line)}`);
    } else {
      const sample = sampleIn(line);
      const family: ReadFamily =
        current && suffixOf(current, sample.name) !== null ? current : begin(sample.name);
      if (suffixOf(family, sample.name) === null) throw new Error(`${line} is of no family`);
      check(family, sample);
      family.samples.push(sample);
    }
  }
  return [...families.values()];
}

function describe(family: ReadFamily, what: string, rest: string): void {
  if (what === 'TYPE') {
    if (!(rest in suffixes)) throw new Error(`no type: ${rest}`);
    family.type = rest;
  } else if (what === 'UNIT') {
    if (!family.name.endsWith(`_${rest}`))
      throw new Error(`${family.name} does not end in ${rest}`);
    if (['info', 'stateset'].includes(family.type)) throw new Error(`${family.type} has no unit`);
    family.unit = rest;
  } else {
    if (!/^(?:[^\\]|\\[\\"n])*$/.test(rest)) throw new Error(`wrong escape in ${rest}`);
    family.help = unescaped(rest);
  }
}

function suffixOf({ name, type }: ReadFamily, sample: string): string | null {
  return (suffixes[type] ?? []).find((suffix) => name + suffix === sample) ?? null;
}

function sampleIn(line: string): ReadSample {
  const [, name = '', braces, number = ''] = sampleForm.exec(line) ?? [];
  if (name === '' || !numberForm.test(number))
    throw new Error(`no sample: ${JSON.stringify(line)}`);
  return { name, labels: labelsIn(braces ?? ''), value: Number(number.replace('Inf', 'Infinity')) };
}

function labelsIn(text: string): Record<string, string> {
  const labels: Record<string, string> = {};
  let rest = text;
  while (rest !== '') {
    const [whole = '', name = '', value = '', comma] = pairForm.exec(rest) ?? [];
    if (whole === '' || name in labels) throw new Error(`no labels: ${text}`);
    labels[name] = unescaped(value);
    rest = rest.slice(whole.length);
    if (comma === ',' && rest === '') throw new Error(`a comma too many: ${text}`);
  }
  return labels;
}

function check(family: ReadFamily, { name, labels, value }: ReadSample): void {
  const suffix = suffixOf(family, name) ?? '';
  const key = JSON.stringify([name, Object.entries(labels).sort()]);
  for (const other of family.samples) {
    const otherKey = JSON.stringify([other.name, Object.entries(other.labels).sort()]);
    if (otherKey === key) throw new Error(`${name} stands there twice`);
  }
  const grows = family.type === 'counter' || suffix === '_count' || suffix === '_sum';
  if (grows && !(value >= 0)) throw new Error(`${name} is ${value}`);
  if (family.type === 'info' && value !== 1) throw new Error('an info is 1');
  if (family.type === 'stateset') {
    if (!(family.name in labels)) throw new Error(`a state without its label`);
    if (value !== 0 && value !== 1) throw new Error('a state is 0 or 1');
  }
  if (family.type === 'summary' && suffix === '') {
    const quantile = Number(labels['quantile']);
    if (!(quantile >= 0 && quantile <= 1)) throw new Error('no quantile');
  }
}

function unescaped(text: string): string {
  return text.replace(/\\(.)/g, (_all, letter) => (letter === 'n' ? '\n' : letter));
}
