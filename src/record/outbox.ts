/** The part of the Record port from which notices go out: what may be tried when, and what came of it. */
import type { Attempt, Delivery, DeliveryReport, Quiet } from './record.ts';

export interface Outbox {
  /**
   * Deliveries that may be tried at `now`, or that a clock which was set back since put out of reach: in each lane only
   * the oldest waiting one. A lane is a channel and an outage
   * (where there is none a service, else the notice itself). One that is being tried is still listed.
   */
  dueDeliveries(
    now: number,
    countMax: number,
    quiet?: readonly Quiet[],
  ): Promise<readonly Delivery[]>;
  /** When the next one may be tried (may lie in the past); null when none waits. */
  nextDeliveryAt(quiet?: readonly Quiet[]): Promise<number | null>;
  /** Before an attempt: from now on it can be neither folded nor withdrawn. False: it is no longer waiting. */
  claim(noticeId: string, channel: string, at: number): Promise<boolean>;
  attempted(attempt: Attempt): Promise<void>;
  /** In the order in which they were made. */
  deliveriesOf(outageId: string): Promise<readonly DeliveryReport[]>;
  /** Newest first. */
  deadLetters(countMax: number): Promise<readonly DeliveryReport[]>;
  /** What waits on a channel, and what is dead there of notices made since; in the order in which they were made. */
  undelivered(channel: string, deadSince: number): Promise<readonly DeliveryReport[]>;
  delivery(noticeId: string, channel: string): Promise<DeliveryReport | null>;
}
