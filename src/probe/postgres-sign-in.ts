/** The sign-in to PostgreSQL with a password: in the clear, by MD5, by SCRAM-SHA-256 ("SASL Authentication" in its documentation). */
import { createHash, randomBytes } from 'node:crypto';
import { trouble } from './observe.ts';
import { type Asking, going, next, outOfTurn, over, type Part } from './postgres-asking.ts';
import {
  type Authentication,
  encodePassword,
  encodeSaslInitial,
  encodeSaslResponse,
} from './postgres-messages.ts';
import { clientFirst, prove, readServerFirst, serverProves } from './scram.ts';

/** The one mechanism that the probe speaks. */
export const scramName = 'SCRAM-SHA-256';

export interface SignIn extends Asking {
  readonly password: string;
  /** The other end has shown a certificate that was judged and found good. */
  readonly certain: boolean;
}

/** Does what the server wants; then the session begins. */
export async function signIn(asking: SignIn, wanted: Authentication): Promise<Part<null>> {
  const { wire, settings, password } = asking;
  switch (wanted.step) {
    case 'cleartext':
      if (!asking.certain && settings.tls !== 'never') return over(inTheClear);
      wire.write(encodePassword(password));
      return accepted(asking);
    case 'md5':
      wire.write(encodePassword(md5Answer(settings.user, password, wanted.salt)));
      return accepted(asking);
    case 'sasl':
      return wanted.mechanisms.includes(scramName)
        ? scram(asking)
        : over(unspoken(wanted.mechanisms.join(', ')));
    default:
      return over(unspoken(wanted.step));
  }
}

const inTheClear = trouble(
  'sign-in-refused',
  'it asks for the password in the clear, and it is not certain who asks',
  'Set `tls: required`; or `tls: never` if nobody else can listen on the way to it.',
);

function unspoken(name: string) {
  return trouble(
    'sign-in-refused',
    `it asks for a sign-in by ${name}, which the probe does not speak`,
    'Allow the account of the probe to sign in by scram-sha-256, in pg_hba.conf.',
  );
}

/** `md5` and the digest of (digest of password and user, salt), in hexadecimal ("AuthenticationMD5Password"). */
export function md5Answer(user: string, password: string, salt: Buffer): string {
  const inner = createHash('md5').update(password).update(user).digest('hex');
  return `md5${createHash('md5').update(inner).update(salt).digest('hex')}`;
}

async function scram(asking: SignIn): Promise<Part<null>> {
  const { wire, password } = asking;
  // The server takes the user from the start-up message and ignores the one in here.
  const account = { user: '', password, nonce: randomBytes(18).toString('base64') };
  wire.write(encodeSaslInitial(scramName, clientFirst(account.user, account.nonce)));
  const first = await step(asking, 'sasl-continue');
  if (!first.ok) return first;
  const challenge = readServerFirst(first.value, account.nonce);
  if (typeof challenge === 'string') return over(brokenSignIn(challenge));
  const proof = await wire.during(prove(account, first.value, challenge));
  if (!proof.ok) return over(proof.trouble);
  wire.write(encodeSaslResponse(proof.value.clientFinal));
  const final = await step(asking, 'sasl-final');
  if (!final.ok) return final;
  return serverProves(final.value, proof.value.serverSignature)
    ? accepted(asking)
    : over(brokenSignIn('it cannot show that it knows the password itself'));
}

function brokenSignIn(why: string) {
  return trouble(
    'malformed',
    `its sign-in is broken: ${why}`,
    'Is it the server that you meant? Something else may stand in its place.',
  );
}

/** The data of the next step of SASL. */
async function step(asking: Asking, name: 'sasl-continue' | 'sasl-final'): Promise<Part<string>> {
  const reply = await next(asking);
  if (!reply.ok) return reply;
  const { value } = reply;
  if (value.kind !== 'authentication' || value.authentication.step !== name)
    return outOfTurn(asking);
  return going(value.authentication.data);
}

async function accepted(asking: Asking): Promise<Part<null>> {
  const reply = await next(asking);
  if (!reply.ok) return reply;
  const { value } = reply;
  const ok = value.kind === 'authentication' && value.authentication.step === 'ok';
  return ok ? going(null) : outOfTurn(asking);
}
