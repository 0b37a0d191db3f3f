// What the program uses of undici, in the build: its index would load its fetch, its WebSocket, its caches and, with them, the
// same once more out of Node: a megabyte that nobody asks for. As the index does, it gives every client its ways of asking.
import api from '../node_modules/undici/lib/api/index.js';
import errors from '../node_modules/undici/lib/core/errors.js';
import Client from '../node_modules/undici/lib/dispatcher/client.js';
import Dispatcher from '../node_modules/undici/lib/dispatcher/dispatcher.js';

Object.assign(Dispatcher.prototype, api);

export { Client, errors };
