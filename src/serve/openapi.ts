/** The OpenAPI 3.1 document, made of the same schemas that validate and serialise. */
import swagger from '@fastify/swagger';
import type { FastifyInstance } from 'fastify';
import {
  createJsonSchemaTransform,
  createJsonSchemaTransformObject,
  serializerCompiler,
  validatorCompiler,
} from 'fastify-type-provider-zod';
import { named } from './schemas.ts';

/** Before the routes: it listens to their registration. */
export async function describeApi(app: FastifyInstance, version: string): Promise<void> {
  app.setValidatorCompiler(validatorCompiler);
  app.setSerializerCompiler(serializerCompiler);
  await app.register(swagger, {
    openapi: {
      openapi: '3.1.0',
      info: {
        title: 'Rollcall',
        description: 'Read-only. Times are RFC 3339 in UTC, durations `…Ms`, latencies `…Us`.',
        version,
      },
    },
    transform: createJsonSchemaTransform({ schemaRegistry: named }),
    transformObject: createJsonSchemaTransformObject({ schemaRegistry: named }),
  });
  app.get('/openapi.json', { schema: { hide: true } }, async () => app.swagger());
}
