/** The forms in which a report is given out. */
import { reportCsv } from './csv.ts';
import { reportHtml } from './html.ts';
import { reportJson } from './json.ts';
import type { MonthReport } from './month.ts';
import { reportText } from './text.ts';

export const reportFormats = ['text', 'json', 'html', 'csv'] as const;
export type ReportFormat = (typeof reportFormats)[number];

const writers: Readonly<Record<ReportFormat, (report: MonthReport) => string>> = {
  text: reportText,
  json: reportJson,
  html: reportHtml,
  csv: reportCsv,
};

/** The whole document. */
export function reportAs(format: ReportFormat, report: MonthReport): string {
  return writers[format](report);
}
