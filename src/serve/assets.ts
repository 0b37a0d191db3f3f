/** Style, script and icons: read once, named by their content, so that a browser keeps them until they change. */
import { createHash } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import type { FastifyInstance } from 'fastify';
import { programFolder } from '../base/files.ts';
import { type IconState, iconOf, iconStates } from './icon.ts';
import { RequestProblem } from './problems.ts';

interface Asset {
  readonly type: string;
  readonly body: string;
  readonly etag: string;
}

export interface Assets {
  readonly styleHref: string;
  /** Null: it was not built. */
  readonly scriptHref: string | null;
  iconHref(state: IconState): string;
}

/** Where style and script lie. */
export const webFolder = new URL('web/', programFolder);

const yearSeconds = 31_536_000;

export interface AssetsGiven {
  /** As in `Board`. */
  readonly base: string;
  /** Ends in a slash; by default `webFolder`. */
  readonly assets?: URL;
}

export function serveAssets(app: FastifyInstance, given: AssetsGiven): Assets {
  const folder = given.assets ?? webFolder;
  const assets = new Map<string, Asset>();
  const add = (name: string, type: string, body: string): string => {
    const hash = createHash('sha256').update(body).digest('base64url').slice(0, 16);
    const [stem, extension] = name.split('.');
    const path = `${stem}.${hash}.${extension}`;
    // Weak: it may come compressed.
    assets.set(path, { type, body, etag: `W/"${hash}"` });
    return `${given.base}assets/${path}`;
  };

  const styleHref = add(
    'style.css',
    'text/css; charset=utf-8',
    readFileSync(new URL('style.css', folder), 'utf8'),
  );
  const script = new URL('client.js', folder);
  const scriptHref = existsSync(script)
    ? add('client.js', 'text/javascript; charset=utf-8', readFileSync(script, 'utf8'))
    : null;
  const icons = new Map(
    iconStates.map((state) => [state, add(`${state}.svg`, 'image/svg+xml', iconOf(state))]),
  );

  app.get(
    '/assets/:name',
    { schema: { hide: true }, config: { open: true } },
    async (request, reply) => {
      const asset = assets.get((request.params as { name: string }).name);
      if (!asset) throw new RequestProblem(404, 'There is nothing at this address.');
      reply
        .header('cache-control', `public, max-age=${yearSeconds}, immutable`)
        .header('etag', asset.etag)
        .type(asset.type);
      if (request.headers['if-none-match'] === asset.etag) return reply.code(304).send();
      return reply.send(asset.body);
    },
  );
  return { styleHref, scriptHref, iconHref: (state) => icons.get(state) ?? '' };
}
