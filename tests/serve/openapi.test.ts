/** The OpenAPI document: valid by the published schema, and about what is really served. */
import { Validator } from '@seriousme/openapi-schema-validator';
import Ajv2020 from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { guarded, readToken } from './guarded.ts';
import { noJobs } from './jobs-scene.ts';
import { type Scene, sceneOf } from './scene.ts';

let scene: Scene;
// biome-ignore lint/suspicious/noExplicitAny: a document of any shape, that is what is tested
let document: any;
beforeAll(async () => {
  scene = await sceneOf(fernhill, { jobs: noJobs });
  document = (await scene.app.inject({ url: '/openapi.json' })).json();
});
afterAll(() => scene.app.close());

/** OpenAPI 3.1.0 by the schema of the OpenAPI Initiative, as the validator package carries it (reference J22). */
test('it is valid OpenAPI 3.1', async () => {
  const validator = new Validator();
  const result = await validator.validate(structuredClone(document));
  expect(result.errors).toBeUndefined();
  expect(result.valid).toBe(true);
  expect(validator.version).toBe('3.1');
});

test('the validator refuses what is not (reference J22: info without version; a path without slash)', async () => {
  const withoutVersion = { ...structuredClone(document), info: { title: 't' } };
  expect((await new Validator().validate(withoutVersion)).valid).toBe(false);
  const withoutSlash = { ...structuredClone(document), paths: { a: {} } };
  expect((await new Validator().validate(withoutSlash)).valid).toBe(false);
});

test('it lists every route for programs, and no page', () => {
  expect(Object.keys(document.paths).sort()).toEqual([
    '/api/v1/groups',
    '/api/v1/jobs',
    '/api/v1/jobs/{id}/runs',
    '/api/v1/outages',
    '/api/v1/outages/{id}',
    '/api/v1/planned',
    '/api/v1/roll',
    '/api/v1/services',
    '/api/v1/services/{id}',
    '/api/v1/services/{id}/availability',
    '/api/v1/services/{id}/observations',
    '/feed.atom',
    '/healthz',
    '/jobs/{id}/began',
    '/jobs/{id}/ended',
    '/metrics',
    '/planned.ics',
  ]);
});

/** The schema of an answer, ready to validate. */
function schemaOf(path: string) {
  // Strict off: OpenAPI's own keywords are not JSON Schema's.
  const ajv = new Ajv2020.default({ strict: false });
  addFormats.default(ajv);
  ajv.addSchema({ ...document, $id: 'rollcall' });
  const operation = document.paths[path].get ?? document.paths[path].post;
  const [content] = Object.values(operation.responses[200].content) as [
    { schema: object; example: unknown },
  ];
  const inPlace = JSON.parse(JSON.stringify(content.schema).replaceAll('"#/', '"rollcall#/'));
  return { validate: ajv.compile(inPlace), example: content.example };
}

test('each route shows an answer, which is one by its schema', async () => {
  for (const path of Object.keys(document.paths).filter((one) => one !== '/feed.atom')) {
    const { validate, example } = schemaOf(path);
    expect(example, path).toBeDefined();
    expect(validate(example), `${path} ${JSON.stringify(validate.errors)}`).toBe(true);
  }
});

test('it says where the API lives, and what it takes to read it', async () => {
  expect(document.servers).toEqual([{ url: '/' }]);
  expect(document).not.toHaveProperty('security');
  const guardedScene = await sceneOf(fernhill.slice(0, 1), {
    answers: false,
    access: guarded,
    listen: () => () => {},
    board: { ...scene.options.board, base: '/rollcall/' },
  });
  const authorization = `Bearer ${readToken}`;
  const answer = await guardedScene.app.inject({
    url: '/openapi.json',
    headers: { authorization },
  });
  await guardedScene.app.close();
  const described = answer.json();
  expect((await new Validator().validate(structuredClone(described))).errors).toBeUndefined();
  expect(described.servers).toEqual([{ url: '/rollcall' }]);
  expect(described.security).toEqual([{ token: [] }]);
  expect(described.components.securitySchemes.token).toMatchObject({ scheme: 'bearer' });
  const stream = described.paths['/live'].get.responses['200'].content['text/event-stream'];
  expect(stream.example).toContain('event: change');
});

test('a report takes the token of its job, whether the rest is guarded or not, and nothing else does', () => {
  const { jobToken } = document.components.securitySchemes;
  expect(jobToken).toMatchObject({ type: 'http', scheme: 'bearer' });
  const taking = Object.entries(document.paths)
    // biome-ignore lint/suspicious/noExplicitAny: a document of any shape, that is what is tested
    .filter(([, operations]) => Object.values(operations as any).some((one: any) => one.security))
    .map(([path]) => path);
  expect(taking.toSorted()).toEqual(['/jobs/{id}/began', '/jobs/{id}/ended']);
  for (const path of taking) expect(document.paths[path].post.security).toEqual([{ jobToken: [] }]);
});

test('parameters say what they take, as a client would write it', () => {
  const { parameters } = document.paths['/api/v1/services/{id}/observations'].get;
  const named = Object.fromEntries(
    parameters.map((one: { name: string; in: string; required?: boolean }) => [
      one.name,
      `${one.in}${one.required ? ', required' : ''}`,
    ]),
  );
  expect(named).toEqual({ id: 'path, required', from: 'query', to: 'query', step: 'query' });
  const from = parameters.find(({ name }: { name: string }) => name === 'from');
  expect(from.schema).toMatchObject({ type: 'string', format: 'date-time' });
});

test.each([
  ['/api/v1/roll', '/api/v1/roll'],
  ['/api/v1/services', '/api/v1/services'],
  ['/api/v1/services/{id}', '/api/v1/services/order-book'],
  ['/api/v1/services/{id}/observations', '/api/v1/services/shop/observations?step=1h'],
  ['/api/v1/services/{id}/observations', '/api/v1/services/shop/observations'],
  ['/api/v1/services/{id}/availability', '/api/v1/services/shop/availability'],
  ['/api/v1/groups', '/api/v1/groups'],
  ['/api/v1/outages', '/api/v1/outages'],
  ['/healthz', '/healthz'],
])('what %s answers is what the document says', async (path, url) => {
  const { validate } = schemaOf(path);
  const body = (await scene.app.inject({ url })).json();
  expect(validate(body), JSON.stringify(validate.errors)).toBe(true);
  expect(
    validate({ ...body, from: 1, at: 1, services: 1, outages: 1, groups: 1, id: 1, status: 1 }),
  ).toBe(false);
});
