/** An answer that took longer than the owner allows is `limited`: the one outcome that the probe cannot know. */
import { meaningOf } from '../base/reasons.ts';
import type { Observation } from '../base/values.ts';

/** `slowMs` null: no limit. Facts and phases stay. */
export function graded(observation: Observation, slowMs: number | null): Observation {
  if (slowMs === null || observation.outcome !== 'answered') return observation;
  if (observation.tookUs <= slowMs * 1_000) return observation;
  const { layer, outcome, sentence, hint } = meaningOf('slow');
  const tookMs = Math.ceil(observation.tookUs / 1_000);
  const detail = `${sentence}: ${tookMs} ms, more than ${slowMs} ms`;
  return { ...observation, outcome, trouble: { layer, reason: 'slow', detail, hint } };
}
