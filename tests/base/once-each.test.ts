/** What follows from a value alone is worked out once for each, and for no other. */
import { expect, test, vi } from 'vitest';
import { onceEach } from '../../src/base/once-each.ts';

test('it is worked out once for each value, also where it comes to nothing', () => {
  const work = vi.fn(({ name }: { readonly name: string }) => (name === '' ? undefined : name));
  const named = onceEach(work);
  const [kiln, nobody] = [{ name: 'kiln' }, { name: '' }];
  expect([named(kiln), named(kiln), named(nobody), named(nobody)]).toEqual([
    'kiln',
    'kiln',
    undefined,
    undefined,
  ]);
  expect(work).toHaveBeenCalledTimes(2);
});

test('an equal value is another one', () => {
  const work = vi.fn(() => ({}));
  const made = onceEach(work);
  expect(made({})).not.toBe(made({}));
});
