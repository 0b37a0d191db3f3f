/** What politeness asks of the schedule, by the settings' kind. */
import { declarations, type ProbeSettings } from './all.ts';
import type { Manners } from './declaration.ts';

export function mannersOf(settings: Pick<ProbeSettings, 'kind'>): Manners {
  const declared = declarations.find(({ kind }) => kind === settings.kind);
  if (!declared) throw new Error(`no kind ${settings.kind}`);
  return declared.manners;
}
