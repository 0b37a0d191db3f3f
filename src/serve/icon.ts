/** The tab's icon: the sign of the worst state on the roll, in a colour that shows on light and on dark tabs. */
import type { State } from '../base/values.ts';

/** `new`: nothing is known yet. */
export const iconStates = ['up', 'degraded', 'down', 'unobserved', 'new'] as const;
export type IconState = State | 'new';

const shapes: Readonly<Record<IconState, string>> = {
  up: stroked('#2e8b57', 'M2.5 8.7 6.2 12.6 13.5 3.4'),
  degraded: stroked('#c08000', 'M8 1.9 14.9 14H1.1Z M8 6.4V9.6 M8 11.8V12'),
  down: `<path fill="#d64545" d="M8 0 16 8 8 16 0 8Z"/>${stroked('#fff', 'M5.6 5.6 10.4 10.4 M10.4 5.6 5.6 10.4')}`,
  unobserved: `<circle cx="8" cy="8" r="6" fill="none" stroke="#7d8590" stroke-width="2" stroke-dasharray="3.1 3.1"/>`,
  new: stroked('#7d8590', 'M3 8H13'),
};

export function iconOf(state: IconState): string {
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16">${shapes[state]}</svg>`;
}

function stroked(colour: string, path: string): string {
  return `<path fill="none" stroke="${colour}" stroke-width="2" stroke-linecap="round" stroke-linejoin="round" d="${path}"/>`;
}
