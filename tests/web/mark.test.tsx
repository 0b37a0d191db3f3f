/** States are told apart by outline and word, not by colour alone (WCAG 2.2, 1.4.1). */
import { renderToString } from 'preact-render-to-string';
import { expect, test } from 'vitest';
import { Mark, stateText } from '../../web/parts/mark.tsx';

const states = ['up', 'degraded', 'down', 'unobserved'] as const;

test('each state has an outline of its own', () => {
  const shapes = states.map((state) =>
    renderToString(<Mark state={state} />).replaceAll(`is-${state}`, ''),
  );
  expect(new Set(shapes).size).toBe(states.length);
});

test('the sign is silent, as the word stands beside it', () => {
  for (const state of states) {
    expect(renderToString(<Mark state={state} />)).toContain('aria-hidden="true"');
  }
  expect(states.map(stateText)).toEqual(['up', 'degraded', 'down', 'not observed']);
});
