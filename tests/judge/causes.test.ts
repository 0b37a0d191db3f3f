/** Causes over chains and diamonds, and what a gateway hides. */
import { describe, expect, test } from 'vitest';
import type { State } from '../../src/base/values.ts';
import {
  causeNow,
  causeOf,
  explained,
  type House,
  reach,
  sightOf,
} from '../../src/judge/causes.ts';
import { blank } from '../../src/judge/judge.ts';
import type { Memory } from '../../src/judge/memory.ts';

interface Told {
  readonly state: State;
  readonly failedAt?: number;
  readonly lastGoodAt?: number;
  readonly lastAt?: number;
  readonly suspect?: boolean;
  readonly backAt?: number;
  /** Its outage is open, whatever its state. */
  readonly open?: boolean;
}

function memoryOf(id: string, told: Told): Memory {
  const { state, failedAt = 100, lastGoodAt = 90, lastAt = 200, suspect = false } = told;
  const run = { count: 1, firstAt: failedAt, lastAt: failedAt };
  return {
    ...blank('s'),
    state,
    since: 0,
    lastAt,
    failedRun: suspect ? run : null,
    outage:
      state === 'down' || told.open
        ? {
            id: `${id}.1`,
            serviceId: id,
            lastGoodAt,
            firstFailedAt: failedAt,
            confirmedAt: failedAt + 5,
            lastFailedAt: failedAt + 5,
            restoredAt: null,
            trouble: { layer: 'port', reason: 'refused', detail: '', hint: '' },
            causeId: null,
          }
        : null,
  };
}

function house(
  needs: { readonly [id: string]: readonly string[] },
  told: { readonly [id: string]: Told },
  through: { readonly [id: string]: readonly string[] } = {},
): House {
  return {
    relationsOf: (id) => ({ needs: needs[id] ?? [], through: through[id] ?? [] }),
    memoryOf: (id) => {
      const known = told[id];
      return known && memoryOf(id, known);
    },
    backAt: (id) => told[id]?.backAt,
  };
}

const down: Told = { state: 'down' };
const up: Told = { state: 'up' };

describe('the cause of a failure', () => {
  test('is the needed service that is down', () => {
    expect(causeOf('shop', 101, house({ shop: ['nas'] }, { nas: down }))).toBe('nas');
  });
  test('is nobody while all that it needs answers', () => {
    expect(causeOf('shop', 101, house({ shop: ['nas'] }, { nas: up }))).toBeNull();
  });
  test('is the root of a chain', () => {
    const chain = house({ shop: ['db'], db: ['nas'] }, { db: down, nas: down });
    expect(causeOf('shop', 101, chain)).toBe('nas');
  });
  test('is found below a needed service that answers still', () => {
    const chain = house({ shop: ['db'], db: ['nas'] }, { db: up, nas: down });
    expect(causeOf('shop', 101, chain)).toBe('nas');
  });
  test('is one root for both sides of a diamond', () => {
    const diamond = house(
      { shop: ['db', 'files'], db: ['nas'], files: ['nas'] },
      { db: down, files: down, nas: down },
    );
    expect(causeOf('shop', 101, diamond)).toBe('nas');
  });
  test('is the earlier of two roots', () => {
    const two = house(
      { shop: ['db', 'nas'] },
      { db: { state: 'down', failedAt: 80, lastGoodAt: 70 }, nas: down },
    );
    expect(causeOf('shop', 101, two)).toBe('db');
  });
  test('is not an outage that was not there yet: the other was still good when this one failed', () => {
    const late = house({ shop: ['nas'] }, { nas: { state: 'down', lastGoodAt: 40_000 } });
    expect(causeOf('shop', 101, late)).toBeNull();
  });
});

test('outages that were there first are put behind a cause that explains them, once', () => {
  const needs = { shop: ['db'], db: ['nas'] };
  const all = house(needs, { shop: down, db: down, nas: down });
  const moved = explained(['shop', 'db'], all);
  expect(moved.map(({ serviceId, causeId }) => [serviceId, causeId])).toEqual([
    ['shop', 'nas'],
    ['db', 'nas'],
  ]);
  const settled: House = {
    ...all,
    memoryOf: (id) => {
      const memory = all.memoryOf(id);
      const outage = moved.find(({ serviceId }) => serviceId === id);
      return memory && outage ? { ...memory, outage } : memory;
    },
  };
  expect(explained(['shop', 'db'], settled)).toEqual([]);
});

describe('the cause of an outage that goes on', () => {
  const at = (told: Told) => {
    const all = house({ shop: ['nas'] }, { nas: told });
    const outage = memoryOf('shop', down).outage;
    return causeNow(
      'shop',
      { outage: outage && { ...outage, causeId: 'nas' }, failedAt: 900 },
      all,
    );
  };
  test('is what it was, also where nobody has seen that since', () => {
    expect(at(down)).toBe('nas');
    expect(at({ state: 'unobserved', open: true })).toBe('nas');
  });
  test('is none when that is over', () => expect(at(up)).toBeNull());
  test('is what is down now, also another outage of the same service', () =>
    expect(at({ state: 'down', failedAt: 850, lastGoodAt: 800 })).toBe('nas'));
});

describe('what a gateway hides from a failure at 150', () => {
  const seen = (told: Told | undefined, failure = { firstAt: 150, at: 160 }) =>
    sightOf('shop', failure, house({}, told ? { router: told } : {}, { shop: ['router'] }));
  test('nothing while it answered since', () => expect(seen({ ...up, lastAt: 151 })).toBe('clear'));
  test('nothing is decided before it was asked again', () =>
    expect(seen({ ...up, lastAt: 149 })).toBe('unsure'));
  test('nor while it is in doubt itself', () =>
    expect(seen({ ...up, suspect: true })).toBe('unsure'));
  test('nor while nobody has seen it since it was down', () =>
    expect(seen({ state: 'unobserved', open: true })).toBe('unsure'));
  test('everything when it is down', () => expect(seen(down)).toBe('gone'));
  test('everything when it came back between question and answer', () => {
    expect(seen({ ...up, backAt: 161 })).toBe('gone');
    expect(seen({ ...up, backAt: 160 })).toBe('clear');
  });
});

test('reaching along edges ends in circles and leaves out the start', () => {
  const edges: { readonly [id: string]: readonly string[] } = { a: ['b'], b: ['c'], c: ['a'] };
  expect([...reach('a', (id) => edges[id] ?? [])].sort()).toEqual(['b', 'c']);
});
