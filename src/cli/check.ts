/**
 * `rollcall check`: asks now, once, and prints what came back. Only the daemon asks while one runs,
 * so that no key or limit of a peer is used twice; without one the command asks itself.
 */
import * as z from 'zod';
import { type Answer, answerOf } from '../base/answer.ts';
import { RollcallError } from '../base/errors.ts';
import { maskedObservation } from '../base/masked.ts';
import { type Outcome, outcomes } from '../base/values.ts';
import { findServices } from '../config/find.ts';
import { secretMasker } from '../config/mask.ts';
import { graded } from '../judge/grade.ts';
import { answersTable } from './answers.ts';
import { askAll, withKeep } from './ask-directly.ts';
import { askDaemon } from './daemon-client.ts';
import { exit } from './place.ts';
import { configuredWithout } from './without-daemon.ts';

interface CheckGiven {
  readonly services: readonly string[];
  readonly config: string | undefined;
  readonly folder: string;
  readonly json: boolean;
}

export async function check(given: CheckGiven): Promise<void> {
  const answers = (await throughDaemon(given)) ?? (await directly(given));
  const stream = process.stdout;
  const colour = stream.isTTY === true && process.env['NO_COLOR'] === undefined;
  stream.write(
    given.json ? `${JSON.stringify({ answers }, null, 2)}\n` : answersTable(answers, colour),
  );
  if (answers.some(({ outcome }) => outcome !== 'answered')) exit(1);
}

async function throughDaemon(given: CheckGiven): Promise<readonly Answer[] | null> {
  // A file that was named is looked at, whoever asks then.
  if (given.config !== undefined) configuredWithout(given);
  const answer = await askDaemon(given.folder, 'POST', '/ask', { services: given.services });
  if (answer === null) return null;
  if (answer.status !== 200) {
    const { detail } = refusal.parse(answer.body);
    throw new RollcallError('daemon-absent', `the running daemon says: ${detail}`);
  }
  if (given.config !== undefined) {
    process.stderr.write(
      `A daemon runs on ${given.folder}: asked with the configuration that it has. kill -HUP reads it again.\n`,
    );
  }
  return daemonAnswers.parse(answer.body).answers;
}

async function directly(given: CheckGiven): Promise<readonly Answer[]> {
  const { config, secrets } = configuredWithout(given);
  const { services, complaint } = findServices(config.services, given.services);
  if (complaint !== null) throw new RollcallError('usage', complaint);
  process.stderr.write(`No daemon runs on ${given.folder}; asking directly.\n`);
  const mask = secretMasker(secrets);
  const observed = await withKeep(given.folder, (keep) => askAll(services, keep));
  return services.flatMap((service) => {
    const seen = observed.get(service.id);
    return seen ? [answerOf(service, maskedObservation(graded(seen, service.slowMs), mask))] : [];
  });
}

const text = z.string().nullable();
const refusal = z.object({ detail: z.string() });

/** What the daemon answers; the same fields as `Answer`. */
const daemonAnswers = z.object({
  answers: z.array(
    z.object({
      id: z.string(),
      name: z.string(),
      where: z.string(),
      at: z.string(),
      outcome: z.enum(outcomes satisfies readonly Outcome[]),
      tookUs: z.number(),
      layer: text,
      reason: text,
      detail: text,
      hint: text,
      facts: z.record(z.string(), z.union([z.string(), z.number(), z.boolean()])),
    }),
  ),
});
