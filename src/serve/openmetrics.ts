/**
 * OpenMetrics 1.0, text format (draft-ietf-opsawg-openmetrics-00), as far as it is needed here: families in, one text out.
 * Small enough to be read beside the specification, whose words the types are.
 */

export const openMetricsType = 'application/openmetrics-text; version=1.0.0; charset=utf-8';

type Labels = Readonly<Record<string, string>>;

interface Described {
  /** `[a-zA-Z_:][a-zA-Z0-9_:]*`; ends in the unit, where it has one; without `_total` and `_info`. */
  readonly name: string;
  readonly help: string;
}

interface Measured extends Described {
  /** A base unit, in the plural: `seconds`, `bytes`, `ratio`. */
  readonly unit?: string;
}

interface Sample {
  readonly labels: Labels;
  readonly value: number;
}

export type Family =
  | (Measured & { readonly type: 'gauge'; readonly samples: readonly Sample[] })
  | (Measured & {
      readonly type: 'counter';
      /** Seconds since the epoch since which it counts. */
      readonly createdS: number;
      readonly samples: readonly Sample[];
    })
  | (Described & {
      readonly type: 'info';
      readonly samples: readonly { readonly labels: Labels }[];
    })
  | (Described & {
      readonly type: 'stateset';
      readonly states: readonly string[];
      readonly samples: readonly { readonly labels: Labels; readonly state: string }[];
    })
  | (Measured & {
      readonly type: 'summary';
      readonly createdS: number;
      readonly samples: readonly SummarySample[];
    });

export interface SummarySample {
  readonly labels: Labels;
  readonly quantiles: readonly { readonly quantile: number; readonly value: number }[];
  readonly count: number;
  readonly sum: number;
}

/** A family without samples is left out. */
export function expositionOf(families: readonly Family[]): string {
  const lines = families.filter(({ samples }) => samples.length > 0).flatMap(linesOf);
  return `${[...lines, '# EOF'].join('\n')}\n`;
}

function linesOf(family: Family): string[] {
  const { name, type, help } = family;
  const unit = 'unit' in family ? family.unit : undefined;
  return [
    `# TYPE ${name} ${type}`,
    ...(unit === undefined ? [] : [`# UNIT ${name} ${unit}`]),
    `# HELP ${name} ${escaped(help)}`,
    ...samplesOf(family),
  ];
}

function samplesOf(family: Family): string[] {
  const { name } = family;
  switch (family.type) {
    case 'gauge':
      return family.samples.map(({ labels, value }) => sample(name, labels, value));
    case 'counter':
      return family.samples.flatMap(({ labels, value }) => [
        sample(`${name}_total`, labels, value),
        sample(`${name}_created`, labels, family.createdS),
      ]);
    case 'info':
      return family.samples.map(({ labels }) => sample(`${name}_info`, labels, 1));
    case 'stateset':
      // One sample for each state, under a label that has the name of the family.
      return family.samples.flatMap(({ labels, state }) =>
        family.states.map((one) => sample(name, { ...labels, [name]: one }, one === state ? 1 : 0)),
      );
    case 'summary':
      return family.samples.flatMap(({ labels, quantiles, count, sum }) => [
        ...quantiles.map(({ quantile, value }) =>
          sample(name, { ...labels, quantile: numberText(quantile) }, value),
        ),
        sample(`${name}_count`, labels, count),
        sample(`${name}_sum`, labels, sum),
        sample(`${name}_created`, labels, family.createdS),
      ]);
  }
}

function sample(name: string, labels: Labels, value: number): string {
  const pairs = Object.entries(labels).map(([label, text]) => `${label}="${escaped(text)}"`);
  const braces = pairs.length === 0 ? '' : `{${pairs.join(',')}}`;
  return `${name}${braces} ${numberText(value)}`;
}

function numberText(value: number): string {
  if (value === Number.POSITIVE_INFINITY) return '+Inf';
  return value === Number.NEGATIVE_INFINITY ? '-Inf' : String(value);
}

/** In label values and help alike; a carriage return needs no escape, and would break lines for some. */
function escaped(text: string): string {
  return text
    .replaceAll('\\', '\\\\')
    .replaceAll('"', '\\"')
    .replaceAll('\n', '\\n')
    .replaceAll('\r', ' ');
}
