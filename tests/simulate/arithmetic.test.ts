/** `rollcall record check`: of a record that the house itself kept it complains of nothing, whatever happened. */
import { expect, test } from 'vitest';
import { packedAnswers } from '../../src/record/answers.ts';
import { contradictionsIn } from '../../src/record/arithmetic.ts';
import { type Lived, lived } from './lived.ts';
import { inWorlds } from './proof.ts';
import {
  calmWorlds,
  type EventfulWorld,
  relatedWorlds,
  roughWorlds,
  type World,
} from './worlds.ts';

function contradictionsOf({ entriesOf, looksOf }: Lived, id: string): readonly string[] {
  const answers = packedAnswers();
  for (const { at, observation } of looksOf(id)) answers.add(at, observation.outcome);
  return contradictionsIn({ ...entriesOf(id), answers, doubtful: [] });
}

test.each([
  ['where nothing can be missed', calmWorlds, 40],
  ['through restarts, kills, lost packets and clocks that are set', roughWorlds, 60],
  ['behind gateways and causes', relatedWorlds, 60],
] as const)(
  '%s, all of the record follows from the answers',
  async (_, worlds, count) => {
    await inWorlds<World & Partial<EventfulWorld>>(worlds, count, async (world) => {
      const house = await lived(world);
      for (const { id } of world.services) expect(contradictionsOf(house, id)).toEqual([]);
    });
  },
  240_000,
);
