/** The OpenAPI 3.1 document, made of the same schemas that validate and serialise. */
import swagger from '@fastify/swagger';
import type { FastifyInstance } from 'fastify';
import {
  createJsonSchemaTransform,
  createJsonSchemaTransformObject,
  serializerCompiler,
  validatorCompiler,
} from 'fastify-type-provider-zod';
import { examples } from './examples.ts';
import { named } from './schemas.ts';

interface DescribeGiven {
  readonly version: string;
  /** Where the API lives, with a slash at either end. */
  readonly base: string;
  /** Whether reading needs the sign-in or a token. */
  readonly isGuarded: boolean;
  /** Whether there may be jobs, which report with tokens of their own. */
  readonly hasJobs: boolean;
}

/** What a report of a job takes, in the description. */
export const jobToken = 'jobToken';

/** Before the routes: it listens to their registration. */
export async function describeApi(app: FastifyInstance, given: DescribeGiven): Promise<void> {
  const { version, base, isGuarded, hasJobs } = given;
  app.setValidatorCompiler(validatorCompiler);
  app.setSerializerCompiler(serializerCompiler);
  await app.register(swagger, {
    openapi: {
      openapi: '3.1.0',
      info: {
        title: 'Rollcall',
        description:
          'Read-only, but for the reports of jobs. Times are RFC 3339 in UTC, durations `…Ms`, latencies `…Us`.',
        version,
      },
      servers: [{ url: base.slice(0, -1) || '/' }],
      ...(isGuarded && { security: [{ token: [] }] }),
      components: {
        securitySchemes: {
          ...(isGuarded && { token: bearer('One of `board.tokens` in the configuration.') }),
          ...(hasJobs && {
            [jobToken]: bearer('The `token` of this job in the configuration, and no other.'),
          }),
        },
      },
    },
    transform: createJsonSchemaTransform({ schemaRegistry: named }),
    transformObject: createJsonSchemaTransformObject({ schemaRegistry: named }),
  });
  let described: object | null = null;
  app.get('/openapi.json', { schema: { hide: true } }, async () => {
    described ??= withExamples(app.swagger());
    return described;
  });
}

function bearer(description: string) {
  return { type: 'http', scheme: 'bearer', description } as const;
}

interface Described {
  readonly paths?: Readonly<Record<string, Record<string, unknown>>>;
}

/** An answer of each route beside its schema. */
function withExamples(document: object): object {
  for (const [path, operations] of Object.entries((document as Described).paths ?? {})) {
    if (!(path in examples)) continue;
    const { responses } = (operations['get'] ?? operations['post']) as OperationWithAnswer;
    for (const media of Object.values(responses?.['200']?.content ?? {})) {
      media.example = examples[path];
    }
  }
  return document;
}

interface OperationWithAnswer {
  readonly responses?: Readonly<
    Record<string, { readonly content?: Readonly<Record<string, { example?: unknown }>> }>
  >;
}
