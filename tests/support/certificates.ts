/** Certificates for tests, made on the spot with openssl; nothing is kept in the repository. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface KeyPair {
  readonly key: string;
  readonly cert: string;
}

/** Signed by itself, valid for 30 days; `names` as openssl writes them: `DNS:a.test,IP:127.0.0.1`. */
export function selfSigned(names: string): KeyPair {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-cert-'));
  try {
    const [key, cert] = [join(folder, 'key.pem'), join(folder, 'cert.pem')];
    execFileSync(
      'openssl',
      [
        ...['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'],
        ...['-days', '30', '-subj', '/CN=test', '-addext', `subjectAltName=${names}`],
        ...['-keyout', key, '-out', cert],
      ],
      { stdio: 'pipe' },
    );
    return { key: readFileSync(key, 'utf8'), cert: readFileSync(cert, 'utf8') };
  } finally {
    rmSync(folder, { recursive: true });
  }
}
