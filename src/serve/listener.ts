/** What holds for every listener of ours: bounds in bytes and time, and which proxies are believed. */
import type { FastifyInstance, FastifyServerOptions } from 'fastify';
import {
  connectionsCountMax,
  keepAliveMs,
  requestBodyBytesMax,
  requestHeadBytesMax,
  requestMsMax,
} from '../base/limits.ts';

/** `proxies`: addresses and blocks; nobody else's X-Forwarded-* is believed. */
export function listenerOptions(proxies: readonly string[] = []) {
  return {
    logger: false,
    bodyLimit: requestBodyBytesMax,
    requestTimeout: requestMsMax,
    connectionTimeout: 2 * requestMsMax,
    keepAliveTimeout: keepAliveMs,
    http: {
      maxHeaderSize: requestHeadBytesMax,
      headersTimeout: requestMsMax,
      // How often it is looked whether one is too slow; by default only twice a minute.
      connectionsCheckingInterval: requestMsMax / 3,
    },
    trustProxy: proxies.length > 0 ? [...proxies] : false,
    return503OnClosing: true,
    forceCloseConnections: true,
  } satisfies FastifyServerOptions & { http: object };
}

/** Whoever holds connections open must not take the descriptors that the watch needs. */
export function boundConnections({ server }: FastifyInstance): void {
  server.maxConnections = connectionsCountMax;
}
