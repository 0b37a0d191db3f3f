// What the program uses of undici, in the build: its index would load its fetch, its WebSocket, its caches and, with them, the
// same once more out of Node: a megabyte that nobody asks for.
import errors from '../node_modules/undici/lib/core/errors.js';
import Client from '../node_modules/undici/lib/dispatcher/client.js';

export { Client, errors };
