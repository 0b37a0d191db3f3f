/** A notice in the record of a scene. */
import { instantText } from '../../src/base/instants.ts';
import { nothing, now, type Scene } from './scene.ts';

/** A notice that one channel refused for good. */
export async function told(
  of: Scene,
  outageId: string,
  {
    channel = 'phone',
    summary = 'Order book is down.',
    detail = 'it answered 404',
    status = 404 as number | null,
  } = {},
): Promise<void> {
  const outage = await of.record.outage(outageId);
  const at = (outage?.confirmedAt ?? now) + 1_000;
  const id = `notice of ${outageId} to ${channel}`;
  const notice = {
    id,
    type: 'rollcall.service.down',
    at,
    serviceId: outage?.serviceId ?? null,
    outageId,
    notBefore: at,
    data: { summary },
    channels: [channel],
  };
  await of.record.commit({ ...nothing, notices: [{ kind: 'add', notice }] });
  await of.record.claim(id, channel, at);
  await of.record.attempted({
    noticeId: id,
    channel,
    at: Date.parse(instantText(at)) + 60_000,
    tookMs: 12,
    status,
    detail,
    next: { state: 'dead' },
  });
}
