/** A report of a run as it is stored while no daemon takes it: one file, JSON. */
import { join } from 'node:path';
import { runIdCharsMax, unitCharsMax } from './limits.ts';

export interface SpoolReport {
  readonly jobId: string;
  readonly runId: string;
  readonly beganAt: number;
  /** Null: it runs, or was cut off. */
  readonly ended: {
    readonly at: number;
    readonly exit: number;
    readonly sizeBytes: number;
    readonly value: number | null;
    readonly unit: string | null;
    /** The end of it, base64. */
    readonly output: string;
  } | null;
}

export function spoolFolder(dataFolder: string): string {
  return join(dataFolder, 'spool');
}

/** The same for the beginning and the end of a run, so that the one takes the place of the other. */
export function spoolName({ beganAt, runId }: Pick<SpoolReport, 'beganAt' | 'runId'>): string {
  return `${String(beganAt).padStart(15, '0')}-${runId}.json`;
}

/** What a value is counted in. */
export const unitForm = new RegExp(`^[^\\p{Cc}\\p{Cf}]{1,${unitCharsMax}}$`, 'u');

/** Null: it is none. */
export function parsedSpoolReport(text: string): SpoolReport | null {
  const value = blockOf(jsonOf(text));
  if (!value) return null;
  const { jobId, runId, beganAt, ended } = value;
  if (typeof jobId !== 'string' || typeof runId !== 'string' || !isInstant(beganAt)) return null;
  if (runId === '' || runId.length > runIdCharsMax) return null;
  if (ended === null) return { jobId, runId, beganAt, ended };
  const end = endOf(blockOf(ended));
  return end && { jobId, runId, beganAt, ended: end };
}

function endOf(value: Block | null): SpoolReport['ended'] {
  if (!value) return null;
  const { at, exit, sizeBytes, output } = value;
  if (!isInstant(at) || !isInstant(sizeBytes) || typeof output !== 'string') return null;
  if (!Number.isSafeInteger(exit)) return null;
  return { at, exit: Number(exit), sizeBytes, ...toldIn(value), output };
}

function toldIn({ value, unit }: Block): Pick<RunEnd, 'value' | 'unit'> {
  if (typeof value !== 'number' || !Number.isFinite(value)) return { value: null, unit: null };
  const isUnit = typeof unit === 'string' && unitForm.test(unit);
  return { value, unit: isUnit ? unit : null };
}

type RunEnd = NonNullable<SpoolReport['ended']>;

type Block = Readonly<Record<string, unknown>>;

function blockOf(value: unknown): Block | null {
  return typeof value === 'object' && value !== null ? (value as Block) : null;
}

function isInstant(value: unknown): value is number {
  return Number.isSafeInteger(value) && Number(value) >= 0;
}

function jsonOf(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
