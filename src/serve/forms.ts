/** Forms on the way in: what a browser sends without script, and whether it was sent from a page of this board. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { formBytesMax } from '../base/limits.ts';
import { RequestProblem } from './problems.ts';
import type { Owner } from './viewer.ts';

const formType = 'application/x-www-form-urlencoded';

export function readForms(app: FastifyInstance): void {
  app.addContentTypeParser(
    formType,
    { parseAs: 'string', bodyLimit: formBytesMax },
    async (_request: FastifyRequest, body: string) => new URLSearchParams(body),
  );
}

/** The fields of a form that was sent from here. Throws a RequestProblem for anything else. */
export function fieldsOf(request: FastifyRequest): URLSearchParams {
  if (!isFromHere(request)) {
    throw new RequestProblem(
      403,
      'This form was not sent from a page of this board. Open the page here and send it again.',
    );
  }
  if (!(request.body instanceof URLSearchParams)) {
    throw new RequestProblem(415, `Expected a form: ${formType}.`);
  }
  return request.body;
}

/** The same, of a form that only who is signed in may send. */
export function ownerFieldsOf(request: FastifyRequest): {
  readonly owner: Owner;
  readonly fields: URLSearchParams;
} {
  const owner = ownerOf(request);
  const fields = fieldsOf(request);
  if (!owner.isFormToken(fields.get('token') ?? '')) {
    throw new RequestProblem(
      403,
      'This form belongs to another sign-in. Open its page again, and send it from there.',
    );
  }
  return { owner, fields };
}

function ownerOf({ viewer }: FastifyRequest): Owner {
  switch (viewer.kind) {
    case 'owner':
      return viewer;
    case 'program':
      throw new RequestProblem(403, 'A token reads. To act, sign in.');
    case 'anyone':
      throw new RequestProblem(
        403,
        'This board is read-only: its owner can act once `board.passphrase` is configured.',
      );
    case 'stranger':
      throw new RequestProblem(401, 'Sign in first.');
  }
}

/**
 * Browsers say where a form was sent from: over TLS and on loopback in `Sec-Fetch-Site`, by the address that they
 * themselves used, and everywhere in `Origin` (Fetch, "append a request Origin header"). Who says neither is no browser,
 * and has a token to read with.
 */
function isFromHere(request: FastifyRequest): boolean {
  const { origin, 'sec-fetch-site': site } = request.headers;
  if (site !== undefined) return site === 'same-origin';
  if (origin === undefined || !URL.canParse(origin)) return false;
  const from = new URL(origin);
  const here = `${from.protocol}//${request.host}`;
  // A proxy that nobody named may have taken the TLS away: by the name alone it is the same place.
  return URL.canParse(here) && new URL(here).host === from.host;
}
