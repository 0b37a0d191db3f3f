/**
 * Types of notices by what they mean. Those of jobs are written under the types of services, and are called what they are
 * only where they leave the house (`event-type.ts`).
 */

/** An outage began, or stands alone from now on. */
export const downTypes: readonly string[] = [
  'rollcall.service.down',
  // In place of one that would be told too often.
  'rollcall.service.unsteady',
];

/** Single changes of a service are held back from now on, and are told again. */
export const unsteadyType = 'rollcall.service.unsteady';
export const steadyType = 'rollcall.service.steady';

/** By which one hears of an outage. What is steady again may be down. */
export const outageTypes: readonly string[] = [...downTypes, steadyType];
