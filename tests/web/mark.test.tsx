/** States are told apart by outline and word, not by colour alone (WCAG 2.2, 1.4.1). */
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { Mark, stateText } from '../../web/parts/mark.tsx';
import { Stationery } from '../../web/parts/paper.tsx';

const states = ['up', 'degraded', 'down', 'unobserved'] as const;

test('each state has an outline of its own', () => {
  const drawn = renderToString(<Stationery />);
  const shapes = states.map(
    (state) => new RegExp(`<symbol id="sign-${state}"[^>]*>(.+?)</symbol>`).exec(drawn)?.[1],
  );
  expect(new Set(shapes).size).toBe(states.length);
  expect(shapes).not.toContain(undefined);
});

test('the sign is the one of its state, and silent, as the word stands beside it', () => {
  for (const state of states) {
    const drawn = renderToString(<Mark state={state} />);
    expect(drawn).toContain(`href="#sign-${state}"`);
    expect(drawn).toContain('aria-hidden="true"');
  }
  expect(states.map(stateText)).toEqual(['up', 'degraded', 'down', 'not observed']);
});
