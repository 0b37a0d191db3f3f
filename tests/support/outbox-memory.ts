/** The outbox of the record in plain memory: see record-memory.ts. */
import { deliveryWaitMsMax } from '../../src/base/limits.ts';
import type { Outbox } from '../../src/record/outbox.ts';
import type {
  Attempt,
  Delivery,
  DeliveryReport,
  Notice,
  NoticeEdit,
  Quiet,
} from '../../src/record/record.ts';

type Posted = {
  -readonly [name in keyof DeliveryReport]: DeliveryReport[name];
} & {
  claimed: boolean;
  nextAttemptAt: number;
  readonly lane: string;
};

const sumType = 'rollcall.digest';

/** `isOver`: whether the outage of this id is. */
export function memoryOutbox(isOver: (outageId: string) => boolean): {
  readonly apply: (edit: NoticeEdit) => void;
  readonly port: Outbox;
} {
  const posted: Posted[] = [];
  const find = (noticeId: string, channel: string): Posted | undefined =>
    posted.find((one) => one.notice.id === noticeId && one.channel === channel);
  const carrying = (noticeId: string): readonly string[] =>
    posted.filter(({ notice }) => notice.id === noticeId).map(({ channel }) => channel);
  const heads = (): readonly Posted[] => {
    const sums = posted.filter(({ state, notice: { type } }) => {
      return state === 'waiting' && type === sumType;
    });
    const summed = sums.flatMap(({ channel, notice: { id } }) =>
      posted
        .filter(({ foldedInto }) => foldedInto === id)
        .map(({ lane }) => laneOf({ channel, lane })),
    );
    const waiting = posted.filter(
      (one) => one.state === 'waiting' && !summed.includes(laneOf(one)),
    );
    return waiting.filter((one) => waiting.find((other) => laneOf(other) === laneOf(one)) === one);
  };

  const add = (notice: Notice, laneOn?: (channel: string) => string | undefined): void => {
    for (const channel of notice.channels) {
      posted.push({
        lane: laneOn?.(channel) ?? ownLane(notice),
        notice,
        channel,
        state: 'waiting',
        attempts: [],
        foldedInto: null,
        fallbackFor: null,
        claimed: false,
        nextAttemptAt: notice.notBefore,
      });
    }
  };
  const sum = ({ channel, noticeIds, notice }: NoticeEdit & { kind: 'sum' }): void => {
    const summed = posted.filter((one) => {
      return (
        one.state === 'waiting' && one.channel === channel && noticeIds.includes(one.notice.id)
      );
    });
    for (const one of summed) {
      one.state = 'folded';
      one.foldedInto = notice.id;
    }
    if (summed.length > 0) add({ ...notice, channels: [channel] });
  };
  const divert = ({ noticeId, from, to, at }: NoticeEdit & { kind: 'divert' }): void => {
    const stuck = find(noticeId, from);
    if (!stuck || find(noticeId, to) || !/^(waiting|dead)$/.test(stuck.state)) return;
    const notice = { ...stuck.notice, channels: [...stuck.notice.channels, to] };
    posted.push({
      lane: stuck.lane,
      notice,
      channel: to,
      state: 'waiting',
      attempts: [],
      foldedInto: null,
      fallbackFor: from,
      claimed: false,
      nextAttemptAt: at,
    });
    for (const one of posted) if (one.notice.id === noticeId) one.notice = notice;
  };
  const hold = ({ serviceIds, from, to }: NoticeEdit & { kind: 'hold' }): void => {
    const isHeld = ({ type, notBefore, serviceId }: Notice) =>
      /^rollcall\.service\.(down|unsteady)$/.test(type) &&
      notBefore === from &&
      serviceIds.includes(serviceId ?? '');
    for (const one of posted.filter(({ notice }) => isHeld(notice))) {
      if (one.state === 'waiting' && !one.claimed && one.nextAttemptAt === from) {
        one.nextAttemptAt = to;
      }
      one.notice = { ...one.notice, notBefore: to };
    }
  };
  const wasHeard = ({ state, foldedInto }: Posted): boolean => {
    if (state !== 'folded') return state !== 'withdrawn';
    return posted.find(({ notice: { id } }) => id === foldedInto)?.notice.type === sumType;
  };
  const withStandIns = (heard: readonly Posted[], named: readonly string[]): readonly string[] => {
    const carrying = [...named];
    for (const { channel, fallbackFor } of heard) {
      if (fallbackFor !== null && carrying.includes(fallbackFor)) carrying.push(channel);
    }
    return [...new Set(carrying.filter((name) => heard.some(({ channel }) => channel === name)))];
  };
  /** What was told last of it is that it is unsteady. */
  const unsteadyWords = (serviceId: string | null): readonly Posted[] => {
    const words = posted
      .filter(({ notice }) => notice.serviceId === serviceId && serviceId !== null)
      .filter(({ notice }) => /^rollcall\.service\.(unsteady|steady)$/.test(notice.type))
      .filter(wasHeard);
    return words.filter((one) => {
      const last = words.findLast(({ channel }) => channel === one.channel);
      return last === one && one.notice.type === 'rollcall.service.unsteady';
    });
  };
  const hearersOf = (outageId: string | null): readonly string[] =>
    posted
      .filter(({ notice }) => notice.outageId === outageId && outageId !== null)
      .filter(({ notice }) => /^rollcall\.service\.(down|unsteady|steady)$/.test(notice.type))
      .filter(wasHeard)
      .map(({ channel }) => channel);
  const among = (notice: Notice, doesKnow: boolean | undefined): readonly string[] => {
    if (doesKnow === undefined) return notice.channels;
    const words = unsteadyWords(notice.serviceId);
    return doesKnow
      ? withStandIns(words, notice.channels)
      : notice.channels.filter((name) => !words.some(({ channel }) => channel === name));
  };
  const fold = (serviceIds: readonly string[], into: string, channels = carrying(into)): void => {
    for (const one of posted) {
      const { id, type, serviceId, outageId } = one.notice;
      if (one.state !== 'waiting' || one.claimed || id === into) continue;
      if (!/^rollcall\.service\.(down|unsteady|degraded)$/.test(type)) continue;
      if (outageId !== null && isOver(outageId)) continue;
      if (!serviceIds.includes(serviceId ?? '') || !channels.includes(one.channel)) continue;
      one.state = 'folded';
      one.foldedInto = into;
    }
  };
  const restore = (outageId: string, notice: Notice, unsteadyKnown: boolean | undefined): void => {
    const downs = posted.filter(({ notice: { outageId: id, type } }) => {
      return id === outageId && /^rollcall\.service\.(down|unsteady|steady)$/.test(type);
    });
    for (const one of downs) {
      if (one.state !== 'waiting' || one.claimed || one.notice.notBefore <= notice.at) continue;
      if (one.notice.type === 'rollcall.service.steady') continue;
      one.state = 'withdrawn';
    }
    const sums = posted.filter(({ notice: { id }, fallbackFor }) => {
      return fallbackFor !== null && downs.some((one) => one.foldedInto === id && wasHeard(one));
    });
    const laneIn = (sum: Posted) => downs.find((one) => one.foldedInto === sum.notice.id)?.lane;
    const heard = [
      ...downs.filter(wasHeard),
      ...sums.map((sum) => ({ ...sum, lane: laneIn(sum) ?? sum.lane })),
    ];
    const hearing = { ...notice, channels: withStandIns(heard, notice.channels) };
    const laneOn = (name: string) => heard.findLast(({ channel }) => channel === name)?.lane;
    add({ ...notice, channels: among(hearing, unsteadyKnown) }, laneOn);
  };

  return {
    apply: (edit) => {
      if (edit.kind === 'add') {
        const heard = edit.ifUnheard ? hearersOf(edit.notice.outageId) : [];
        const channels = among(edit.notice, edit.unsteadyKnown);
        add({ ...edit.notice, channels: channels.filter((name) => !heard.includes(name)) });
      } else if (edit.kind === 'fold') {
        const { serviceIds, into } = edit;
        if (typeof into === 'string') return fold(serviceIds, into);
        for (const { notice, channel } of unsteadyWords(into.unsteady)) {
          fold(serviceIds, notice.id, [channel]);
        }
      } else if (edit.kind === 'sum') sum(edit);
      else if (edit.kind === 'divert') divert(edit);
      else if (edit.kind === 'hold') hold(edit);
      else restore(edit.outageId, edit.notice, edit.unsteadyKnown);
    },
    port: {
      dueDeliveries: async (now, countMax, quiet = []) =>
        heads()
          .filter((one) => !isQuiet(one, quiet))
          .filter(({ nextAttemptAt: at, notice }) => {
            const far = now + deliveryWaitMsMax;
            return at <= now || (at > far && (at !== notice.notBefore || notice.at > far));
          })
          .sort((one, other) => one.nextAttemptAt - other.nextAttemptAt)
          .slice(0, countMax)
          .map(deliveryFrom),
      nextDeliveryAt: async (quiet = []) => {
        const instants = heads()
          .filter((one) => !isQuiet(one, quiet))
          .map(({ nextAttemptAt }) => nextAttemptAt);
        return instants.length > 0 ? Math.min(...instants) : null;
      },
      claim: async (noticeId, channel) => {
        const one = find(noticeId, channel);
        if (one?.state !== 'waiting') return false;
        one.claimed = true;
        return true;
      },
      attempted: async ({ noticeId, channel, next, ...attempt }: Attempt) => {
        const one = find(noticeId, channel);
        if (!one) return;
        one.attempts = [...one.attempts, attempt];
        if (one.state !== 'waiting') return;
        one.state = next.state;
        if (next.state === 'waiting') one.nextAttemptAt = next.nextAttemptAt;
      },
      deliveriesOf: async (outageId) =>
        posted.filter(({ notice }) => notice.outageId === outageId).map(reportFrom),
      deadLetters: async (countMax) =>
        posted
          .filter(({ state }) => state === 'dead')
          .reverse()
          .slice(0, countMax)
          .map(reportFrom),
      undelivered: async (channel, deadSince) =>
        posted
          .filter((one) => one.channel === channel)
          .filter(({ state, notice: { at } }) => {
            return state === 'waiting' || (state === 'dead' && at >= deadSince);
          })
          .map(reportFrom),
      delivery: async (noticeId, channel) => {
        const one = find(noticeId, channel);
        return one ? reportFrom(one) : null;
      },
    },
  };
}

function laneOf({ channel, lane }: Pick<Posted, 'channel' | 'lane'>): string {
  return `${channel} ${lane}`;
}

function ownLane({ type, outageId, serviceId, id }: Notice): string {
  if (/^rollcall\.service\.(unsteady|steady)$/.test(type)) return serviceId ?? id;
  return outageId ?? serviceId ?? id;
}

function isQuiet({ channel, notice }: Posted, quiet: readonly Quiet[]): boolean {
  return quiet.some((one) => {
    if (one.channel !== channel || one.types.includes(notice.type)) return false;
    return notice.serviceId === null || !one.serviceIds.includes(notice.serviceId);
  });
}

function deliveryFrom(posted: Posted): Delivery {
  const { notice, channel, attempts, nextAttemptAt, fallbackFor } = posted;
  const firstAttemptAt = attempts[0]?.at ?? null;
  return { notice, channel, attempts: attempts.length, firstAttemptAt, nextAttemptAt, fallbackFor };
}

function reportFrom(posted: Posted): DeliveryReport {
  const { notice, channel, state, attempts, foldedInto, fallbackFor } = posted;
  return { notice, channel, state, attempts, foldedInto, fallbackFor };
}
