/** Every maximum in one place. Names end in `Max` after the unit. Asserted against each other by a test. */

/** Bytes that a probe reads from a peer unless its protocol says less. */
export const peerBytesMax = 65_536;
/** Bytes of one packet of a MySQL server; the longest that a probe is sent is an error with its text. */
export const mysqlPacketBytesMax = 16_384;
/** Times that a MySQL server may ask a probe for another way to sign in. */
export const mysqlSwitchesCountMax = 3;
/** Bytes of one packet of a TDS server before the sign-in ([MS-TDS] §2.2.3.1: 4096 until another size is agreed on). */
export const tdsPacketBytesMax = 4_096;
/** Packets that one answer of a TDS server may be spread over. */
export const tdsPacketsCountMax = 4;
/** Bytes of a packet of an OpenVPN server: its default MTU, and some room for what covers a packet. */
export const openvpnPacketBytesMax = 2_048;
/** Payloads of one IKE message. */
export const ikePayloadsCountMax = 64;
/** Vendor ids of an IKE responder that are kept, and the bytes of each. */
export const ikeVendorIdsCountMax = 5;
export const ikeVendorIdBytesMax = 16;
/** Datagrams that a UDP probe looks at; after so many that do not belong to it, it stops listening. */
export const datagramsCountMax = 4_096;
/** Datagrams that wait to be looked at. */
export const datagramsWaitingCountMax = 64;
/** Bytes of an HTTP body that a probe reads; the rest is not waited for. */
export const httpBodyBytesMax = 1_048_576;
/** Bytes of the header section of an HTTP answer. */
export const httpHeaderBytesMax = 16_384;
/** How long a search in a peer's text may keep this process busy; so long that a slow machine never reaches it in earnest. */
export const calculationMsMax = 1_000;
/** Iterations of a key derivation that a server may ask a probe for (RFC 7677 §4 asks for at least 4096). */
export const scramIterationsMax = 1_000_000;
/** How long a probe waits for the peer's own FIN after it has said goodbye. */
export const finishMsMax = 250;
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
/** Characters kept of what the other side said to an attempt at a delivery. */
export const attemptDetailCharsMax = 300;
/** How long one delivery may take. */
export const deliveryMsMax = 10_000;
/** How long one call of the pulse may take. */
export const pulseMsMax = 10_000;
/** Calls of the pulse that fail in a row before the board complains. */
export const pulseFailuresShownAfterCount = 3;
/** After this a notice that could not be delivered is a dead letter. */
export const deadLetterAfterMs = 24 * 3_600_000;
/** A channel that has failed for this long does not take messages: its fallback gets them as well. */
export const fallbackAfterMs = 5 * 60_000;
/** Deliveries under way at one time, each in a lane of its own. */
export const deliveryLanesCountMax = 8;
/** Longest pause between two attempts, unless the receiver asks for more. */
export const deliveryBackoffMsMax = 15 * 60_000;
/** Longest pause that a receiver may ask for. */
export const retryAfterMsMax = 3_600_000;
/** No delivery waits longer than this on purpose, but for its planned time: one that is due later was put there by a clock that has been set back since. */
export const deliveryWaitMsMax = 2 * 3_600_000;
/** The outbox is looked at this often even when nothing is expected: a wall clock may have stepped. */
export const deliverySleepMsMax = 60_000;
/** Names listed in one sentence; the rest is counted. */
export const namesInSentenceCountMax = 5;
/** Certificates of one service of which it is remembered that they were told. */
export const certificatesToldCountMax = 8;
/** So far ahead a digest looks for certificates that end. */
export const certificatesAheadMs = 45 * 24 * 3_600_000;
/** Outages, services, budgets and certificates that a digest names; the rest is counted. */
export const digestEntriesCountMax = 20;
/** Dead letters that stand on the board. */
export const deadLettersCountMax = 20;
/** Observations that wait in memory when the record cannot be written. */
export const queuedObservationsCountMax = 100_000;
/** Rows of the record's tail, and rows of it for each service: with more than the greater of both it is put away. */
export const tailRowsMax = 50_000;
export const tailRowsPerServiceMax = 60;
/** A day is sealed so long after its end: what was late is mostly there then. */
export const sealDelayMs = 3_600_000;
/** Routine observations are written together this often. */
export const groupCommitMs = 30_000;
/** Observations in one block of a sealed day; no interval gives so many. */
export const sealedRowsCountMax = 1_000_000;
/** Bytes of a block before it is compressed; no peer's texts make so many, even at the shortest interval. */
export const sealedBytesMax = 128 * 1_048_576;
/** Probes under way at one time, unless configured. */
export const concurrentProbesCountMax = 64;
/** All first answers are in within this after the start, unless there are too many (`firstAsksPerSecondMax`). */
export const firstAnswersMsMax = 5_000;
/** After a start so many services a second are asked for the first time: a machine that starts has other things to do. */
export const firstAsksPerSecondMax = 300;
/** A service may fail this long before what it needs is last seen good, and still have failed because of it. */
export const causeSlackMs = 30_000;
/** Memory (MB) of the thread that looks after the record; beyond it, its job has failed. */
export const upkeepHeapMbMax = 256;
/** Damaged files of the record that are kept beside it; the oldest give way. */
export const damagedFilesCountMax = 5;
/** A file of the record that is damaged again within this is not replaced before: then it is the disk that fails. */
export const replacementPauseMs = 3_600_000;
/** Days for which answers are kept at least: figures go back thirty of them, and one may be asked for 31. */
export const keptDaysMin = 32;
/** A chore of the record that takes longer is said to hang: a disk that does not answer, say. */
export const choreMsMax = 3_600_000;
/** A record that cannot be written for so long is told. */
export const unwritableToldAfterMs = 60_000;
/** Running probes are cut this long after the daemon was told to stop. */
export const stopGraceMs = 2_000;
/** Size of a configuration file. */
export const configBytesMax = 1_048_576;
/** Services in one configuration. */
export const servicesCountMax = 10_000;
/** Planned windows in one configuration, and those that were declared and are to come. */
export const plannedCountMax = 200;
/** How long a planned window lasts. */
export const plannedMsMin = 60_000;
export const plannedMsMax = 7 * 24 * 3_600_000;
/** How far ahead somebody may plan, and characters of the reason. */
export const plannedAheadMsMax = 400 * 24 * 3_600_000;
export const plannedWhyCharsMax = 200;
/** Planned windows on a service's page. */
export const plannedOfServiceCountMax = 5;
/** Planned work so far ahead stands on the roll. */
export const plannedSoonMs = 24 * 3_600_000;
/** Planned windows are shown so far back and ahead, and at most so many of what is to come and of what was. */
export const plannedShownMs = 30 * 24 * 3_600_000;
export const plannedShownCountMax = 200;
/** Blocks within blocks of a configuration. */
export const configDepthMax = 50;
/** Values that aliases may add to a configuration when they are written out. */
export const aliasedValuesCountMax = 100_000;
/** Size of a file that a `file:PATH` value names. */
export const namedFileBytesMax = 65_536;
/** Characters of a service's, group's or channel's name that a page shows. */
export const nameCharsMax = 120;
/** Characters of the place where a service is asked that a page shows. */
export const whereCharsMax = 300;
/** Characters and lines of the owner's note that a page shows. */
export const noteCharsMax = 4_000;
export const noteLinesCountMax = 40;
/** The longest time from one question to the next: the longest interval, eight times over while each visit costs its owner. */
export const askingPauseMsMax = 8 * 7 * 24 * 3_600_000;
/** Figures of thirty days are worked out again after this: by so much they change in the fifth digit at most. */
export const figuresFreshMs = 120_000;
/** The unfinished steps of a day are read again after this. */
export const dayFreshMs = 120_000;
/** And those of a week, a month or a year. */
export const longFreshMs = 5 * 60_000;
/** The roll is worked out ahead after a start: so long after it, when the first answers are in, and with such pauses. */
export const rollAheadAfterMs = 1_500;
export const rollAheadPauseMs = 10;
/** A roll of more services is worked out when somebody asks: all of it at once would keep probes waiting. */
export const rollAheadServicesCountMax = 200;
/** Instants whose words are kept in memory. */
export const instantsKeptCountMax = 5_000;
/** Charts and figures that are kept in memory, of each kind. */
export const chartsKeptCountMax = 2_000;
/** Services on the roll up to which each has its strip; beyond it only those that are not up. */
export const stripsCountMax = 120;
/** Services on the roll from which it has a search field, and from which groups that are all up are folded. */
export const findFromCount = 20;
export const foldFromCount = 60;
/** What is wrong is told at length up to this; the rest is marked on the roll. */
export const troublesOnPageCountMax = 12;
/** Characters of what is searched for on the roll. */
export const findCharsMax = 100;
/** Outages listed on a month's page; its files have all. */
export const outagesOnReportCountMax = 300;
/** Changes of facts on a service's page. */
export const factChangesOnPageCountMax = 12;
/** Earlier outages shown with one. */
export const earlierOnPageCountMax = 5;
/** Points in one answer of the API. */
export const pointsCountMax = 20_000;
/** The longest range of observations that the API reads for steps: five years. */
export const observationsRangeMsMax = 5 * 366 * 24 * 3_600_000;
/** The longest range of availability and outages. */
export const historyRangeMsMax = 3_660 * 24 * 3_600_000;
/** Outages in one answer or on one page. */
export const outagesCountMax = 1_000;
/** Observations shown with one outage. */
export const outageObservationsCountMax = 1_000;
/** Bytes of a request's body. */
export const requestBodyBytesMax = 65_536;
/** Bytes of a request's head. */
export const requestHeadBytesMax = 16_384;
/** A request is read and an answer begun within this. */
export const requestMsMax = 15_000;
/** An idle connection is kept this long. */
export const keepAliveMs = 30_000;
/** Characters of a sentence that the house says of itself. */
export const selfTroubleCharsMax = 1_000;
/** Outages listed on a service's page. */
export const outagesOnPageCountMax = 50;
/** Characters of a passphrase for the board: at least eight (NIST SP 800-63B §5.1.1.1), and long ones are welcome. */
export const passphraseCharsMin = 8;
export const passphraseCharsMax = 1_000;
/** Characters of a token for programs: nobody guesses 20 random ones. */
export const tokenCharsMin = 20;
/** Tokens of one board; each request is compared with all of them. */
export const tokensCountMax = 50;
/** How long somebody stays signed in (NIST SP 800-63B §4.1.3: at most 30 days), and in how many browsers at one time. */
export const sessionMsMax = 30 * 24 * 3_600_000;
export const sessionsCountMax = 50;
/** Attempts to sign in within a quarter of an hour: from one address, and from everywhere. */
export const signInWindowMs = 15 * 60_000;
export const signInsEachCountMax = 10;
export const signInsAllCountMax = 100;
/** Bytes of a form: a note of the owner's with every character percent-encoded, and its token. */
export const formBytesMax = 65_536;
/** Streams of what happens that are open at one time, and bytes that wait for one slow reader before it is dropped. */
export const liveStreamsCountMax = 64;
export const liveBufferBytesMax = 65_536;
/** A stream on which nothing happens says so this often: well within what a board or a proxy keeps an idle connection. */
export const liveHeartbeatMs = 15_000;
/** Changes that are kept for a reader that comes back. */
export const liveChangesCountMax = 256;
/** Notes of one outage. */
export const notesOfOutageCountMax = 100;
/** Acts of the owner within a minute: of one kind on one thing, and all together. */
export const actsWindowMs = 60_000;
export const actsEachCountMax = 6;
export const actsAllCountMax = 60;
/** Whoever asks a service now waits for the answer no longer than this; it comes all the same. */
export const askWaitMsMax = 8_000;
/** Latencies of a day that the metrics tell are read again after this. */
export const latenciesFreshMs = 60_000;
/** Outages in the feed. */
export const feedEntriesCountMax = 100;
/** Shorter answers are not compressed: they fit into one packet as they are. */
export const compressedBytesMin = 1_024;
/** Connections to one listener that are open at one time. */
export const connectionsCountMax = 1_000;
/** Jobs in one configuration. */
export const jobsCountMax = 500;
/** How often each job is looked at, beside the instants at which it changes by itself. */
export const jobLookMs = 60_000;
/** Bytes of the end of a job's output that are kept with its run, and characters of it that a message carries. */
export const tailBytesMax = 16_384;
export const tailInNoticeCharsMax = 1_500;
/** Bytes of output that may be sent with a report; all but its end is let go as it comes. */
export const reportBytesMax = 16 * 1_048_576;
/** Runs of a job, the newest, that still have their output; of those before only the figures are kept. */
export const tailsKeptCountMax = 100;
/** Runs of a job that ended, the newest, that its state is worked out from. */
export const runsJudgedCountMax = 60;
/** Runs of a job without an end that are waited for at one time, the newest. */
export const openRunsCountMax = 100;
/** Characters of the id of a run, and of the unit of the number that it tells. */
export const runIdCharsMax = 64;
export const unitCharsMax = 20;
/** Reports with a wrong token within a minute: from one address, and from everywhere. Right ones are not counted. */
export const wrongReportsWindowMs = 60_000;
export const wrongReportsEachCountMax = 10;
export const wrongReportsAllCountMax = 200;
/** A run that begins this long before its due time is the one that was due: clocks differ. */
export const jobEarlyMsMax = 60_000;
/** Runs listed on a job's page, drawn in its strip, and given by the API at one time. */
export const runsOnPageCountMax = 30;
export const runsInStripCountMax = 60;
export const runsCountMax = 1_000;
/** Runs of a job, the newest, that the sum of a week or a month counts. */
export const runsSummedCountMax = 50_000;
/** Reports that wait in files for a daemon, bytes of one, and how often it looks for them. */
export const spoolCountMax = 1_000;
export const spoolBytesMax = 65_536;
export const spoolLookMs = 60_000;
