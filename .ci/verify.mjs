// npm run verify: everything that can be checked here. As root on Debian the peer servers and the browser
// that the tests use are installed first; elsewhere what could not be tested is named at the end.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

process.chdir(fileURLToPath(new URL('..', import.meta.url)));

/** Debian's package and the file by which the tests find it. */
const peers = [
  ['postgresql-15', '/usr/lib/postgresql/15/bin/postgres'],
  ['mariadb-server', '/usr/sbin/mariadbd'],
  ['freetds-bin', '/usr/bin/tsql'],
  ['openssl', '/usr/bin/openssl'],
  ['chromium', '/usr/bin/chromium'],
  ['wireguard-go', '/usr/bin/wireguard-go'],
  ['wireguard-tools', '/usr/bin/wg'],
  ['iproute2', '/usr/sbin/ip'],
  ['openvpn', '/usr/sbin/openvpn'],
  ['exim4-daemon-light', '/usr/sbin/exim4'],
  ['strongswan-charon', '/usr/lib/ipsec/charon'],
  ['strongswan-swanctl', '/usr/sbin/swanctl'],
  ['libcharon-extra-plugins', '/usr/lib/ipsec/plugins/libstrongswan-kernel-libipsec.so'],
  ['libstrongswan-standard-plugins', '/usr/lib/ipsec/plugins/libstrongswan-openssl.so'],
];

const scratch = '.verify';
rmSync(scratch, { recursive: true, force: true });
mkdirSync(scratch);
const skippedFile = `${scratch}/skipped`;
const resultsFile = `${scratch}/results.json`;
writeFileSync(skippedFile, '');

const missing = peers.filter(([, file]) => !existsSync(file)).map(([name]) => name);
const installs = process.getuid?.() === 0 && existsSync('/usr/bin/apt-get');
if (missing.length > 0 && installs) installPeers(missing);

step('lint', ['run', '--silent', 'lint']);
step('build', ['run', '--silent', 'build']);
step(
  'tests',
  [
    'exec',
    '--',
    'vitest',
    'run',
    '--config',
    'tests/vitest.config.ts',
    '--project=!soak',
    '--reporter=default',
    '--reporter=json',
    `--outputFile.json=${resultsFile}`,
  ],
  { ROLLCALL_SKIPPED: skippedFile, ...(installs ? { ROLLCALL_PEERS: 'required' } : {}) },
);

const skipped = [...new Set(readFileSync(skippedFile, 'utf8').split('\n').filter(Boolean))];
if (skipped.length > 0) {
  console.log(`\nNot tested here, since these are not installed: ${skipped.join(', ')}.`);
}
const results = JSON.parse(readFileSync(resultsFile, 'utf8'));
const { numPassedTests, numFailedTests, numPendingTests } = results;
console.log(`\n${numPassedTests} passed, ${numFailedTests} failed, ${numPendingTests} skipped`);

function step(name, args, environment = {}) {
  const startedAt = Date.now();
  console.log(`\n== ${name}`);
  const ended = spawnSync('npm', args, {
    stdio: 'inherit',
    env: { ...process.env, ...environment },
  });
  console.log(`== ${name}: ${((Date.now() - startedAt) / 1000).toFixed(1)} s`);
  if (ended.status !== 0) {
    console.error(`\nverify: ${name} failed`);
    process.exit(1);
  }
}

function installPeers(names) {
  console.log(`== installing ${names.join(', ')}`);
  // A policy-rc.d that says no keeps the packages from starting services of their own.
  const policy = '/usr/sbin/policy-rc.d';
  const ours = !existsSync(policy);
  if (ours) writeFileSync(policy, '#!/bin/sh\nexit 101\n', { mode: 0o755 });
  const environment = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
  const options = { stdio: ['ignore', 'ignore', 'inherit'], env: environment };
  spawnSync('apt-get', ['update', '-q'], options);
  const ended = spawnSync(
    'apt-get',
    ['install', '-yq', '--no-install-recommends', ...names],
    options,
  );
  if (ours) rmSync(policy, { force: true });
  if (ended.status !== 0) console.error('verify: some peers could not be installed');
}
