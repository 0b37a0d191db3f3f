/** Leaves out of the roll what does not match, as one types; the server finds the same when the form is sent. */

export interface Finding {
  /** Again, after the page was changed. */
  apply(): void;
}

export function findInPlace(): Finding {
  document.addEventListener('input', ({ target }) => {
    if (target instanceof HTMLInputElement && target.id === 'find') apply();
  });
  return { apply };
}

/** Only what was typed since the page came: what it was asked for it shows already. */
function apply(): void {
  const field = document.getElementById('find');
  if (!(field instanceof HTMLInputElement)) return;
  const isTyped = field.value !== field.defaultValue;
  const words = isTyped ? folded(field.value).split(/\s+/).filter(Boolean) : [];
  let count = 0;
  for (const group of document.querySelectorAll('details.group')) {
    const name = folded(group.querySelector('.fold')?.textContent ?? '');
    const lanes = [...group.querySelectorAll<HTMLElement>('.lane')];
    for (const lane of lanes) {
      const text = `${name} ${folded(lane.querySelector('.who')?.textContent ?? '')}`;
      lane.hidden = !words.every((word) => text.includes(word));
    }
    const found = lanes.filter(({ hidden }) => !hidden).length;
    (group as HTMLElement).hidden = found === 0;
    if (words.length > 0 && found > 0) (group as HTMLDetailsElement).open = true;
    count += found;
  }
  const said = document.getElementById('found');
  if (said && isTyped) said.textContent = words.length === 0 ? '' : `${count} found.`;
}

/** Without case and accents. */
function folded(text: string): string {
  return text.normalize('NFKD').replace(/\p{M}/gu, '').toLowerCase();
}
