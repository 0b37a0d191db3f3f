/** What holds for every listener of ours: bounds in bytes and time, and which proxies are believed. */
import type { FastifyServerOptions } from 'fastify';
import {
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
    http: { maxHeaderSize: requestHeadBytesMax, headersTimeout: requestMsMax },
    trustProxy: proxies.length > 0 ? [...proxies] : false,
    return503OnClosing: true,
    forceCloseConnections: true,
  } satisfies FastifyServerOptions & { http: object };
}
