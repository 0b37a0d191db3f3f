/** Looks whose certificate nears its end, in the last answer of each service, and tells it. */
import { certificateIn } from './base/certificate-facts.ts';
import { type Kept, type NewsGiven, post } from './news-post.ts';
import {
  certificateNotices,
  type ExpiringCertificate,
  isTold,
  stageOf,
  withTold,
} from './tell/certificates.ts';
import { takes } from './tell/channel.ts';

/** One look at all of them. Those that show the same certificate at one look are one message. */
export async function lookAtCertificates(given: NewsGiven): Promise<void> {
  const { clock, record, channels, newId, sayInstant } = given;
  const now = clock.wallMs();
  const due: ExpiringCertificate[] = [];
  const keeps: Kept[] = [];
  for (const one of expiringNow(given, now)) {
    const name = `told:certificate ${one.card.id}`;
    const words = await record.kept(name);
    if (isTold(words, one)) continue;
    due.push(one);
    keeps.push({ name, words: withTold(words, one) });
  }
  if (due.length === 0) return;
  await post(given, certificateNotices(due, { channels, now, newId, sayInstant }), keeps);
}

/** Of services of which anybody wants to hear it: else it is as good as not told. */
function expiringNow(given: NewsGiven, now: number): ExpiringCertificate[] {
  const { cards, channels, standingOf } = given;
  return cards.flatMap((card) => {
    if (!channels.some((channel) => takes(channel, card, 'certificate'))) return [];
    const { last } = standingOf(card.id);
    const certificate = last && certificateIn(last.facts);
    const stage = certificate && stageOf(certificate, now);
    return certificate && stage ? [{ card, certificate, stage }] : [];
  });
}
