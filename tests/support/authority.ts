/** A certificate authority for tests, made with openssl in a temporary folder; nothing is kept in the repository. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface Issued {
  readonly key: string;
  readonly cert: string;
}

interface Wish {
  /** As openssl writes them: `DNS:a.test,IP:127.0.0.1`; null: no subjectAltName at all. */
  readonly names?: string | null;
  readonly commonName?: string;
  readonly from?: Date;
  readonly to?: Date;
  /** Who signs: the root unless an intermediate is given. */
  readonly by?: Issued;
  /** May sign others. */
  readonly authority?: boolean;
}

export interface Authority extends Disposable {
  readonly root: Issued;
  /** Valid from an hour ago for 90 days unless wished otherwise. */
  issue(wish?: Wish): Issued;
}

const dayMs = 86_400_000;

const config = `
[ca]
default_ca = test
[test]
database = index.txt
new_certs_dir = new
rand_serial = yes
default_md = sha256
unique_subject = no
policy = any
[any]
commonName = supplied
`;

export function makeAuthority(commonName = 'Test authority'): Authority {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-ca-'));
  mkdirSync(join(folder, 'new'));
  writeFileSync(join(folder, 'ca.cnf'), config);
  writeFileSync(join(folder, 'index.txt'), '');
  const run = (args: readonly string[]) =>
    execFileSync('openssl', args, { cwd: folder, stdio: 'pipe' });
  const read = (name: string) => readFileSync(join(folder, name), 'utf8');
  const write = (name: string, text: string) => writeFileSync(join(folder, name), text);

  run([
    ...['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'],
    ...['-days', '3650', '-subj', `/CN=${commonName}`, '-keyout', 'root.key', '-out', 'root.pem'],
    ...['-addext', 'keyUsage=critical,keyCertSign,cRLSign'],
  ]);
  const root = { key: read('root.key'), cert: read('root.pem') };

  return {
    root,
    issue: (wish = {}) => {
      const signer = wish.by ?? root;
      write('signer.key', signer.key);
      // The first certificate of a file is the signer's own; what follows is its chain.
      write('signer.pem', signer.cert);
      write('wish.ext', extensionsOf(wish));
      run([
        ...['req', '-new', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'],
        ...['-subj', `/CN=${wish.commonName ?? 'test'}`, '-keyout', 'new.key', '-out', 'new.csr'],
      ]);
      run([
        ...['ca', '-batch', '-notext', '-config', 'ca.cnf', '-in', 'new.csr', '-out', 'new.pem'],
        ...['-keyfile', 'signer.key', '-cert', 'signer.pem', '-extfile', 'wish.ext'],
        ...['-startdate', asn1(wish.from ?? new Date(Date.now() - 3_600_000))],
        ...['-enddate', asn1(wish.to ?? new Date(Date.now() + 90 * dayMs))],
      ]);
      return { key: read('new.key'), cert: read('new.pem') };
    },
    [Symbol.dispose]: () => rmSync(folder, { recursive: true }),
  };
}

/** The pin as openssl alone computes it: the chain of commands that RFC 7469 Appendix A gives. */
export function opensslPin(cert: string): string {
  const run = (args: readonly string[], input: string | Buffer) =>
    execFileSync('openssl', args, { input, stdio: 'pipe' });
  const publicKey = run(['x509', '-pubkey', '-noout'], cert);
  const der = run(['pkey', '-pubin', '-outform', 'der'], publicKey);
  return `sha256/${run(['dgst', '-sha256', '-binary'], der).toString('base64')}`;
}

function extensionsOf({ names, authority }: Wish): string {
  const wanted = names === undefined ? 'DNS:test' : names;
  return [
    wanted === null ? '' : `subjectAltName=${wanted}`,
    authority === true ? 'basicConstraints=critical,CA:TRUE' : 'basicConstraints=CA:FALSE',
  ].join('\n');
}

/** GeneralizedTime, or UTCTime as openssl chooses: `20261125040000Z`. */
function asn1(at: Date): string {
  return at.toISOString().replace(/[-:T]|\.\d{3}/g, '');
}
