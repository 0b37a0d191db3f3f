/**
 * Who is signed in. A session is a random id that only the browser knows; here, and in the record so that a restart signs
 * nobody out, stands its hash, until it ends or runs out. An id that comes from outside is looked up, never taken over.
 */
import { createHash, randomBytes } from 'node:crypto';
import * as z from 'zod';
import type { Clock } from '../base/clock.ts';
import { sessionMsMax, sessionsCountMax } from '../base/limits.ts';
import type { Record as Memoir } from '../record/record.ts';

export interface Sessions {
  /** The id of a new one: 256 random bits (OWASP asks for at least 64 of entropy). The oldest gives way to too many. */
  begin(): Promise<string>;
  isOpen(id: string): boolean;
  end(id: string): Promise<void>;
}

interface SessionsGiven {
  readonly record: Pick<Memoir, 'kept' | 'keep'>;
  readonly clock: Clock;
}

const keptName = 'board.sessions';
const kept = z.array(z.object({ hash: z.string(), beganAt: z.number() }));
type Session = z.output<typeof kept>[number];

export async function sessionsIn({ record, clock }: SessionsGiven): Promise<Sessions> {
  let open = parsed(await record.kept(keptName));
  const isFresh = ({ beganAt }: Session) => {
    const ageMs = clock.wallMs() - beganAt;
    // A clock that was set back does not make a session last for ever.
    return ageMs < sessionMsMax && ageMs > -sessionMsMax;
  };
  const save = async (sessions: readonly Session[]) => {
    open = sessions.filter(isFresh).slice(-sessionsCountMax);
    await record.keep(keptName, JSON.stringify(open));
  };
  return {
    begin: async () => {
      const id = randomBytes(32).toString('base64url');
      await save([...open, { hash: hashOf(id), beganAt: clock.wallMs() }]);
      return id;
    },
    isOpen: (id) => {
      const hash = hashOf(id);
      return open.some((session) => session.hash === hash && isFresh(session));
    },
    end: async (id) => {
      const hash = hashOf(id);
      await save(open.filter((session) => session.hash !== hash));
    },
  };
}

function hashOf(id: string): string {
  return createHash('sha256').update(id).digest('base64url');
}

/** What cannot be read signs everybody out. */
function parsed(words: string | null): readonly Session[] {
  try {
    return kept.parse(JSON.parse(words ?? '[]'));
  } catch {
    return [];
  }
}
