// The floor of a page: a server of the same kind that answers every request with a text of the size that it is told.
import fastify from 'fastify';

const app = fastify();
const text = 'x'.repeat(Number(process.argv[2]));
app.get('/', (_request, reply) => reply.type('text/html; charset=utf-8').send(text));
await app.listen({ host: '127.0.0.1', port: 0 });
process.on('message', () => process.send(app.server.address().port));
process.send('ready');
