/** The groups of the roll over a window, for programs. */
import { instantText } from '../base/instants.ts';
import { othersFirst } from '../base/turns.ts';
import type { Range } from '../record/record.ts';
import { groupJson } from '../report/json.ts';
import { groupAvailabilityOf, type Member } from '../uptime/groups.ts';
import type { Board } from './board.ts';
import type { GroupsBody } from './figure-schemas.ts';

/** In the order in which the roll names them; services without a group are in none. */
export async function groupsBody(board: Board, window: Range): Promise<GroupsBody> {
  const now = board.clock.wallMs();
  const groups: GroupsBody['groups'] = [];
  for (const name of new Set(board.cards.flatMap(({ group }) => group ?? []))) {
    const members: Member[] = [];
    for (const { id } of board.cards.filter(({ group }) => group === name)) {
      members.push({ serviceId: id, history: await board.figures.history(id, window) });
      await othersFirst();
    }
    const figures = groupAvailabilityOf(members, { window, now });
    const ids = members.map(({ serviceId }) => serviceId);
    groups.push({ name, members: ids, ...groupJson(figures) });
  }
  const to = Math.max(window.from, Math.min(window.to, now));
  return { from: instantText(window.from), to: instantText(to), groups };
}
