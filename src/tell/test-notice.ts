/** The notice that shows whether a channel works. It passes no filter, and has no service. */
import type { Notice } from '../record/record.ts';
import { say } from './sentences.ts';

export function testNotice(given: { id: string; at: number; channel: string }): Notice {
  const { id, at, channel } = given;
  return {
    id,
    type: 'rollcall.test',
    at,
    serviceId: null,
    outageId: null,
    notBefore: at,
    data: { summary: say({ kind: 'test', channel }) },
    channels: [channel],
  };
}
