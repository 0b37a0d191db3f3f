/**
 * Whose certificate nears its end, and who is told of it: once when it is near by its own lifetime or `warn:`, and once more
 * three days before. A renewed one ends at another instant and begins anew. Services that show the same one are named
 * together, to each channel those that it carries. Pure; what was told before comes in and goes out as words.
 */
import type { CertificateSeen } from '../base/certificate-facts.ts';
import { instantText } from '../base/instants.ts';
import { certificatesToldCountMax } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Notice } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import { serviceData } from './notice-data.ts';
import { say } from './sentences.ts';

const lastDaysMs = 3 * 86_400_000;

type Stage = 'near' | 'last-days';

/** Null: nothing is to be told, or it is too late: that it has ended is a trouble of the service. */
export function stageOf({ isNear, endsAt }: CertificateSeen, now: number): Stage | null {
  if (!isNear || endsAt <= now) return null;
  return endsAt - now <= lastDaysMs ? 'last-days' : 'near';
}

/** One service, the certificate that it showed last, and how near that is. */
export interface ExpiringCertificate {
  readonly card: ServiceCard;
  readonly certificate: CertificateSeen;
  readonly stage: Stage;
}

/** What was told of a service's certificates before, in the words that the record keeps. */
export function isTold(words: string | null, { certificate, stage }: ExpiringCertificate): boolean {
  const told = (words ?? '').split('\n');
  const stages: readonly Stage[] = stage === 'near' ? ['near', 'last-days'] : ['last-days'];
  return stages.some((one) => told.includes(markOf(certificate, one)));
}

/** The same with this one. A few are remembered: behind one name there may be servers with a certificate each. */
export function withTold(
  words: string | null,
  { certificate, stage }: ExpiringCertificate,
): string {
  const told = (words ?? '').split('\n').filter((line) => line !== '');
  return [markOf(certificate, stage), ...told].slice(0, certificatesToldCountMax).join('\n');
}

/** What ends at the same second and comes from the same issuer is taken for one certificate. */
function markOf({ endsAt, issuer }: CertificateSeen, stage: Stage): string {
  return `${stage} ${instantText(endsAt)} ${issuer}`;
}

export interface CertificateNoticesGiven {
  readonly channels: readonly ChannelChoice[];
  readonly now: number;
  readonly newId: () => string;
  /** On the owner's clock. */
  readonly sayInstant: (at: number) => string;
}

/** What is to be told of these, which were not told before, in their order. */
export function certificateNotices(
  expiring: readonly ExpiringCertificate[],
  given: CertificateNoticesGiven,
): readonly Notice[] {
  const same = new Map<string, ExpiringCertificate[]>();
  for (const one of expiring) {
    const mark = markOf(one.certificate, one.stage);
    same.set(mark, [...(same.get(mark) ?? []), one]);
  }
  return [...same.values()].flatMap((group) =>
    audiencesOf(group, given.channels).map((audience) => noticeOf(audience, given)),
  );
}

interface Audience {
  readonly named: readonly ExpiringCertificate[];
  readonly channels: readonly string[];
}

/** Channels that carry the same of them hear the same. */
function audiencesOf(
  group: readonly ExpiringCertificate[],
  channels: readonly ChannelChoice[],
): readonly Audience[] {
  const audiences = new Map<string, Audience>();
  for (const channel of channels) {
    const named = group.filter(({ card }) => takes(channel, card, 'certificate'));
    if (named.length === 0) continue;
    const key = named.map(({ card }) => card.id).join(' ');
    const before = audiences.get(key)?.channels ?? [];
    audiences.set(key, { named, channels: [...before, channel.name] });
  }
  return [...audiences.values()];
}

function noticeOf({ named, channels }: Audience, given: CertificateNoticesGiven): Notice {
  const { now, newId, sayInstant } = given;
  const [first] = named;
  if (first === undefined) throw new Error('a notice about no certificate');
  const { certificate, stage } = first;
  const { endsAt, issuer } = certificate;
  const single = named.length === 1 ? first.card : null;
  return {
    id: newId(),
    type: 'rollcall.certificate.expiring',
    at: now,
    serviceId: single?.id ?? null,
    outageId: null,
    notBefore: now,
    data: {
      summary: say({
        kind: 'certificate',
        names: named.map(({ card }) => card.name),
        leftMs: endsAt - now,
        ends: sayInstant(endsAt),
        isLast: stage === 'last-days',
      }),
      service: single && serviceData(single),
      services: named.map(({ card }) => ({ id: card.id, name: card.name })),
      certificate: { endsAt: instantText(endsAt), issuer },
    },
    channels,
  };
}
