/** The other side of IKE_SA_INIT, as the tests want it: payloads and messages put together by hand. */

/** A payload without its header. */
interface Part {
  readonly type: number;
  readonly body: Buffer;
}

interface Wish {
  readonly flags?: number;
  readonly exchange?: number;
  readonly messageId?: number;
  readonly lengthBytes?: number;
}

/** A response to the request with this SPI; RFC 7296 §3.1, §3.2. */
export function response(spi: Buffer, parts: readonly Part[], wish: Wish = {}): Buffer {
  const payloads = parts.map(({ body }, index) => {
    const header = Buffer.of(parts[index + 1]?.type ?? 0, 0, 0, 0);
    header.writeUInt16BE(4 + body.length, 2);
    return Buffer.concat([header, body]);
  });
  return withHeader(spi, parts[0]?.type ?? 0, Buffer.concat(payloads), wish);
}

/** The same around any bytes. */
export function withHeader(spi: Buffer, firstType: number, bytes: Buffer, wish: Wish = {}): Buffer {
  const { flags = 0x20, exchange = 34, messageId = 0 } = wish;
  const header = Buffer.alloc(28);
  spi.copy(header);
  header.fill(0xaa, 8, 16);
  header.set([firstType, 0x20, exchange, flags], 16);
  header.writeUInt32BE(messageId, 20);
  header.writeUInt32BE(wish.lengthBytes ?? 28 + bytes.length, 24);
  return Buffer.concat([header, bytes]);
}

/** RFC 7296 §3.10. */
export function notify(number: number, data: Buffer = Buffer.alloc(0)): Part {
  const head = Buffer.alloc(4);
  head.writeUInt16BE(number, 2);
  return { type: 41, body: Buffer.concat([head, data]) };
}

export function vendorId(id: Buffer): Part {
  return { type: 43, body: id };
}

/** What a responder sends that accepts: SA, key and nonce. The bodies are not looked at. */
export const acceptance: readonly Part[] = [
  { type: 33, body: Buffer.alloc(36) },
  { type: 34, body: Buffer.alloc(36) },
  { type: 40, body: Buffer.alloc(32) },
];

export function spiIn(request: Buffer): Buffer {
  return request.subarray(0, 8);
}
