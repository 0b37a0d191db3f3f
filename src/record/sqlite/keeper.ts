/**
 * Sees to it that there is a sound file under the writer. What takes the place of a damaged one is made in a thread; a
 * file that was removed or replaced under the open connection is written anew from that connection. Meanwhile the writer
 * stands on memory and nobody waits. What fails is tried again with the next group.
 */
import { linkSync, renameSync, rmSync } from 'node:fs';
import { basename, dirname } from 'node:path';
import type { Database } from 'better-sqlite3';
import type { Clock } from '../../base/clock.ts';
import { messageOf, RollcallError } from '../../base/errors.ts';
import { replacementPauseMs } from '../../base/limits.ts';
import type { Log } from '../../base/log.ts';
import type { Pulse } from '../record.ts';
import { type Damage, damaged, rescued } from './damage.ts';
import { troubleWith } from './failures.ts';
import { ensureFolder } from './files.ts';
import {
  asidePath,
  forgetOldDamaged,
  identityOf,
  removeCompanions,
  removeDatabase,
  setAside,
  setCompanionsAside,
} from './set-aside.ts';
import type { Workshop } from './workshop.ts';
import type { Writer } from './writer.ts';

export interface Keeper {
  /** Before each flush. */
  mind(): void;
  /** The file is damaged. `found`: a sentence. Nothing more happens where it is being replaced already. */
  replace(found: string): void;
  /** Resolves when nothing is under way. */
  idle(): Promise<void>;
  /** Nothing is begun any more. */
  stop(): void;
}

export interface KeeperGiven {
  readonly path: string;
  readonly instanceId: string;
  readonly writer: Writer;
  readonly workshop: Workshop;
  readonly clock: Clock;
  readonly log: Log;
  readonly pulse: () => Pulse;
  /** Paths, the newest first. */
  readonly backups: () => readonly string[];
  /** Opens what lies at the path, in the newest shape. Throws as SQLite does. */
  readonly open: () => Database;
  /** Holds the folder anew where it was made anew; throws where another daemon came first. */
  readonly relock: () => void;
  /** Is told what came of it. */
  readonly told: (damage: Damage) => void;
}

/** What must be done before the writer has a file again; done again until it succeeds. */
export type Errand =
  | { readonly kind: 'reopen'; readonly trouble: string }
  | { readonly kind: 'replace'; readonly found: string }
  | { readonly kind: 'rescue' };

interface State {
  readonly given: KeeperGiven;
  identity: string | null;
  errand: Errand | null;
  running: Promise<void> | null;
  /** On the monotonic clock. */
  replacedAtMs: number;
  said: string | null;
  stopped: boolean;
}

/** `first`: what is to be done before anything else. Null: the writer stands on a sound file. */
export function keeperOf(given: KeeperGiven, first: Errand | null): Keeper {
  const state: State = {
    given,
    identity: identityOf(given.path),
    errand: first,
    running: null,
    replacedAtMs: Number.NEGATIVE_INFINITY,
    said: null,
    stopped: false,
  };
  return {
    mind: () => mind(state),
    replace: (found) => {
      if (state.errand?.kind === 'replace') return;
      given.writer.detach('its file is damaged, and being replaced');
      state.errand = { kind: 'replace', found };
      run(state);
    },
    idle: () => state.running ?? Promise.resolve(),
    stop: () => {
      state.stopped = true;
    },
  };
}

function mind(state: State): void {
  const { given } = state;
  if (!state.errand && identityOf(given.path) !== state.identity) {
    given.writer.hold('its file was removed or replaced');
    state.errand = { kind: 'rescue' };
  }
  if (state.errand) run(state);
}

function run(state: State): void {
  const { errand } = state;
  if (!errand || state.running || state.stopped) return;
  state.running = attempt(state, errand)
    .then(() => {
      state.errand = null;
      state.said = null;
      if (!state.stopped) state.given.writer.flush(state.given.pulse());
    })
    .catch((thrown: unknown) => {
      if (!state.stopped) fail(state, errand, thrown);
    })
    .finally(() => {
      state.running = null;
    });
}

function fail(state: State, { kind }: Errand, thrown: unknown): void {
  const { log, writer } = state.given;
  const why = (troubleWith(thrown) ?? messageOf(thrown)).replace(/\.$/, '');
  if (state.said !== why) log.error({ kind, error: why }, 'the record has no file; tried again');
  state.said = why;
  if (kind === 'rescue') writer.hold(`its file is gone, and none can be made: ${why}`);
  else writer.detach(`it has no file, and none can be made: ${why}`);
}

async function attempt(state: State, errand: Errand): Promise<void> {
  switch (errand.kind) {
    case 'reopen':
      return attach(state);
    case 'replace':
      return await replaced(state, errand.found);
    case 'rescue':
      return await rescuedFile(state);
  }
}

function attach(state: State): void {
  const { given } = state;
  given.writer.attach(given.open());
  state.identity = identityOf(given.path);
}

/** The damaged file stays under its name until another one can take it: a daemon that is killed meanwhile finds it there. */
async function replaced(state: State, found: string): Promise<void> {
  const { path, writer, workshop, clock, log, backups, instanceId, told } = state.given;
  writer.letGo();
  if (clock.monotonicMs() - state.replacedAtMs < replacementPauseMs) {
    throw new RollcallError(
      'upkeep-failed',
      'its file was replaced a moment ago and is damaged again. The disk or the memory of this machine may be failing',
    );
  }
  log.error(
    { found },
    'the record is damaged; it is set aside, and what can be read of it is kept',
  );
  const target = `${path}.new`;
  const recovered = await workshop.run({
    kind: 'recover',
    path,
    target,
    backups: backups(),
    instanceId,
  });
  for (const refused of recovered.refused) log.warn({ refused }, 'a backup was not good');
  const aside = exchange(path, target, clock.wallMs());
  forgetOldDamaged(path);
  state.replacedAtMs = clock.monotonicMs();
  attach(state);
  told(damaged({ found, at: clock.wallMs(), aside, recovered }));
}

/** Gives the path at which the damaged file lies now. */
function exchange(path: string, target: string, now: number): string {
  const aside = asidePath(path, 'damaged', now);
  try {
    linkSync(path, aside);
    setCompanionsAside(path, aside);
    renameSync(target, path);
  } catch {
    // A file system without links: for a moment there is no file of that name.
    rmSync(aside, { force: true });
    setAside(path, aside);
    renameSync(target, path);
  }
  return aside;
}

/** The open connection still has all of the file that was taken away under it. */
async function rescuedFile(state: State): Promise<void> {
  const { path, writer, clock, relock, told } = state.given;
  ensureFolder(dirname(path));
  relock();
  if (identityOf(path) === state.identity) return writer.resume();
  const target = `${path}.new`;
  removeDatabase(target);
  const before = writer.store().database;
  await before.backup(target, { progress: () => rescuePages });
  const foreign = identityOf(path) === null ? null : asidePath(path, 'foreign', clock.wallMs());
  if (foreign !== null) setAside(path, foreign);
  removeCompanions(path);
  renameSync(target, path);
  attach(state);
  before.close();
  told(rescued(clock.wallMs(), foreign === null ? null : basename(foreign)));
}

/** Pages copied at one time while the daemon stands still. */
const rescuePages = 128;
