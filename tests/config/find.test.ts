/** Services by id or name, and what is said of a word that names none. */
import { expect, test } from 'vitest';
import { findServices } from '../../src/config/find.ts';

const services = [
  { id: 'order-book', name: 'Order book' },
  { id: 'shop', name: 'Shop' },
];

test('no word means all of them, in their order', () => {
  expect(findServices(services, [])).toEqual({ services, complaint: null });
});

test('an id or a name will do', () => {
  expect(findServices(services, ['Shop', 'order-book']).services).toEqual(services);
});

test('a word that names none is answered with the nearest id, or with what there is', () => {
  expect(findServices(services, ['shopp']).complaint).toBe(
    'no service `shopp`; did you mean `shop`?',
  );
  expect(findServices(services, ['zzzzzzz']).complaint).toBe(
    'no service `zzzzzzz`; there are order-book, shop',
  );
});
