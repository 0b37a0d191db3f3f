/** How a share of time is written: never better than it is. */

const decimalsMin = 2;
const decimalsMax = 6;

/**
 * `0.99953` → `99.95 %`, `0.99996` → `99.996 %`: two decimals, and more as long as they are nines, so that the first
 * digit that is lost shows. Cut, not rounded: `100 %` stands for nothing less than 1. `share` lies in 0…1.
 */
export function sayShare(share: number): string {
  if (share >= 1) return '100 %';
  const decimals = decimalsOf(share);
  const parts = 100 * 10 ** decimals;
  // 0.29 × 10 000 is a little less than 2900 in binary fractions; the tolerance must not lift anything to 100.
  const whole = Math.min(Math.floor(share * parts * (1 + 4 * Number.EPSILON)), parts - 1);
  return `${(whole / 10 ** decimals).toFixed(decimals)} %`;
}

function decimalsOf(share: number): number {
  const lostPercent = 100 * (1 - share);
  // The place of the first digit that is not zero; the tolerance keeps 0.001 in the third place.
  const place = Math.ceil(-Math.log10(lostPercent) - 1e-9);
  return Math.min(Math.max(place, decimalsMin), decimalsMax);
}
