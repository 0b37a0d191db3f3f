/** Every maximum in one place. Names end in `Max` after the unit. Asserted against each other by a test. */

/** Bytes that a probe reads from a peer unless its protocol says less. */
export const peerBytesMax = 65_536;
/** Bytes of an HTTP body that a probe reads; the rest is not waited for. */
export const httpBodyBytesMax = 1_048_576;
/** Characters kept of a text that a peer sent (version, error message). */
export const peerTextCharsMax = 200;
/** Characters of the detail of a trouble: our words around a peer's text. */
export const detailCharsMax = 400;
/** Facts kept of one observation. */
export const factsCountMax = 32;
/** Redirects that an HTTP probe follows. */
export const redirectsCountMax = 5;
/** Bytes of the answer of a webhook receiver that are read. */
export const receiverBodyBytesMax = 1_024;
/** How long one delivery may take. */
export const deliveryMsMax = 10_000;
/** After this a notice that could not be delivered is a dead letter. */
export const deadLetterAfterMs = 24 * 3_600_000;
/** Observations that wait in memory when the record cannot be written. */
export const queuedObservationsCountMax = 100_000;
/** Routine observations are written together this often. */
export const groupCommitMs = 30_000;
/** Probes under way at one time, unless configured. */
export const concurrentProbesCountMax = 64;
/** All first answers are in within this after the start. */
export const firstAnswersMsMax = 5_000;
/** Running probes are cut this long after the daemon was told to stop. */
export const stopGraceMs = 2_000;
/** Size of a configuration file. */
export const configBytesMax = 1_048_576;
/** Services in one configuration. */
export const servicesCountMax = 10_000;
