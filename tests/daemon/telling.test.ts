/** The real process: a channel that is quiet, one that stands in for another, "I know", and a test of channels. */
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { freePort, type Place, place, type Running } from './support/daemon.ts';
import { type Receiver, receiver, webhookSecret } from './support/receiver.ts';

const within = { timeout: 20_000, interval: 50 };

let home: Place;
let told: Receiver;
let other: Receiver;
let running: Running | null;
beforeEach(async () => {
  home = await place();
  told = await receiver();
  other = await receiver();
  running = null;
});
afterEach(async () => {
  await running?.stop();
  await Promise.all([told.close(), other.close()]);
  home.remove();
});

/** Down from the beginning. */
async function shop(): Promise<string> {
  return `services: [{ name: Shop, probe: "tcp://127.0.0.1:${await freePort()}" }]`;
}
const channel = (name: string, { url }: Receiver, more = '') =>
  `{ name: ${name}, webhook: "${url}", secret: ${webhookSecret}${more} }`;

interface OutageJson {
  readonly id: string;
  readonly knownAt: string | null;
}

test('what a channel refuses goes to its fallback; the outage is known, and channels are tested, by command', async () => {
  other.answer(410);
  const tell = `tell: [${channel('phone', other, ', fallback: mail')}, ${channel('mail', told, ', only: { changes: [facts] }')}]`;
  home.configure(`${await shop()}\n${tell}`);
  running = await home.start();
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), within);
  expect(told.delivered()[0]).toMatchObject({
    type: 'rollcall.service.down',
    data: { fallbackFor: 'phone' },
  });
  expect(other.got).toHaveLength(1);

  const daemon = running;
  const { outages } = await daemon.json<{ outages: OutageJson[] }>('/api/v1/outages');
  const id = outages[0]?.id ?? '';
  expect(await home.run('known', 'kiln')).toMatchObject({ code: 2 });
  const known = await home.run('known', 'Shop');
  expect(known).toMatchObject({ code: 0, stdout: expect.stringContaining(id) });
  const { knownAt } = await daemon.json<OutageJson>(`/api/v1/outages/${id}`);
  expect(knownAt).not.toBeNull();

  other.answer(204, 503);
  const good = await home.run('notice', 'test', 'phone');
  expect(good).toMatchObject({ code: 0, stderr: expect.stringContaining('By the daemon') });
  expect(good.stdout).toMatch(/^phone: delivered in \d+ ms: answered 204\n {2}> POST http:/);
  expect(good.stdout).toContain('  < HTTP 204');
  expect(good.stdout).not.toContain(webhookSecret);
  expect(await home.run('notice', 'test')).toMatchObject({ code: 1 });
  expect(await home.run('notice', 'test', 'fone')).toMatchObject({ code: 2 });

  await daemon.stop();
  const config = ['--config', home.configFile];
  const direct = await home.run('notice', 'test', 'mail', ...config);
  expect(direct).toMatchObject({ code: 0, stderr: expect.stringContaining('No daemon runs') });
  const again = await home.run('known', id);
  expect(again).toMatchObject({ code: 0, stderr: expect.stringContaining('No daemon runs') });
  // The first time counts.
  expect(again.stdout).toContain(`known since ${knownAt}`);
  expect(await home.run('known', 'kiln')).toMatchObject({ code: 2 });
}, 60_000);

test('in quiet hours only what is urgent is told; without them, at once what waited', async () => {
  const services = await shop();
  const urgent = `  - { name: NAS, urgent: true, probe: "tcp://127.0.0.1:${await freePort()}" }`;
  const list = `services:\n  - ${services.slice(services.indexOf('{'), -1)}\n${urgent}`;
  // Quiet but for the minute that is farthest from now, whatever the clock says.
  const minute = (aheadMs: number) => {
    const clock = new Intl.DateTimeFormat('en-GB', {
      timeZone: 'Europe/Dublin',
      timeStyle: 'short',
    });
    return clock.format(Date.now() + aheadMs);
  };
  const [to, from] = [minute(12 * 3_600_000), minute(12 * 3_600_000 + 60_000)];
  home.configure(
    `${list}\ntell: [${channel('phone', told, `, quiet: { from: "${from}", to: "${to}" }`)}]`,
  );
  running = await home.start();
  const types = () => told.delivered().map(({ subject }) => subject);
  await vi.waitFor(() => expect(types()).toEqual(['nas']), within);
  const daemon = running;
  await vi.waitFor(async () => {
    const { outages } = await daemon.json<{ outages: OutageJson[] }>('/api/v1/outages');
    expect(outages).toHaveLength(2);
  }, within);
  // Once around more, so that it could have come.
  await home.run('check');
  expect(types()).toEqual(['nas']);
  home.configure(`${list}\ntell: [${channel('phone', told)}]`);
  daemon.signal('SIGHUP');
  await vi.waitFor(() => expect(types()).toEqual(['nas', 'shop']), within);
}, 60_000);
