/** What the board and the socket know of jobs, and what they hand their reports to. */
import type {
  BeganReport,
  EndedReport,
  JobPlan,
  JobRun,
  JobStanding,
  RunTaken,
} from '../base/jobs.ts';

export interface JobsSource {
  /** Null: there is no such job. The others are asked for those only that there are. */
  planOf(jobId: string): JobPlan | null;
  standingOf(jobId: string): JobStanding;
  /** The run that ended last, with the last lines of its output; null: none has ended yet. */
  lastRunOf(jobId: string): JobRun | null;
  began(jobId: string, report: BeganReport): Promise<RunTaken>;
  ended(jobId: string, report: EndedReport): Promise<RunTaken>;
  /** Whether this is the token of this job; takes as long where there is no such job. */
  isToken(jobId: string, token: string): boolean;
}
