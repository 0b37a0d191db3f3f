// A screenshot with at most 256 colours: a third of its size, and hardly to be told apart. W3C, "PNG Specification".
import { crc32, deflateSync, inflateSync } from 'node:zlib';

/** @param png 8 bits a channel, RGB, not interlaced, as browsers make it. */
export function smallerPng(png) {
  const { width, height, data } = read(png);
  const pixels = unfiltered(inflateSync(data), width * 3, height);
  for (let bits = 6; bits > 0; bits--) {
    const { palette, rows } = indexed(pixels, width, bits);
    if (palette.length <= 256) return written({ width, height, palette, rows });
  }
}

function read(png) {
  const parts = [];
  let [width, height] = [0, 0];
  for (let at = 8; at < png.length; at += 12 + png.readUInt32BE(at)) {
    const type = png.toString('latin1', at + 4, at + 8);
    const body = png.subarray(at + 8, at + 8 + png.readUInt32BE(at));
    if (type === 'IHDR') [width, height] = [body.readUInt32BE(0), body.readUInt32BE(4)];
    if (type === 'IDAT') parts.push(body);
  }
  return { width, height, data: Buffer.concat(parts) };
}

/** Section 9: each row begins with its filter; left and above are zero beyond the edge. */
function unfiltered(bytes, rowBytes, height) {
  const out = Buffer.alloc(rowBytes * height);
  for (let row = 0; row < height; row++) {
    const filter = bytes[row * (rowBytes + 1)];
    for (let x = 0; x < rowBytes; x++) {
      const at = row * rowBytes + x;
      const left = x < 3 ? 0 : out[at - 3];
      const above = row === 0 ? 0 : out[at - rowBytes];
      const corner = x < 3 || row === 0 ? 0 : out[at - rowBytes - 3];
      const guess = [0, left, above, (left + above) >> 1, paeth(left, above, corner)][filter];
      out[at] = bytes[row * (rowBytes + 1) + 1 + x] + guess;
    }
  }
  return out;
}

function paeth(left, above, corner) {
  const [byLeft, byAbove] = [Math.abs(above - corner), Math.abs(left - corner)];
  const byCorner = Math.abs(left + above - 2 * corner);
  if (byLeft <= byAbove && byLeft <= byCorner) return left;
  return byAbove <= byCorner ? above : corner;
}

/** Colours that agree in their upper `bits` become the one among them that occurs most. */
function indexed(pixels, width, bits) {
  const counts = new Map();
  for (let at = 0; at < pixels.length; at += 3) {
    const colour = pixels.readUIntBE(at, 3);
    counts.set(colour, (counts.get(colour) ?? 0) + 1);
  }
  const mask = ((0xff << (8 - bits)) & 0xff) * 0x01_01_01;
  const palette = [];
  const numbers = new Map();
  for (const [colour] of [...counts].sort(([, one], [, other]) => other - one)) {
    if (!numbers.has(colour & mask)) numbers.set(colour & mask, palette.push(colour) - 1);
  }
  const rows = Buffer.alloc((pixels.length / 3 / width) * (width + 1));
  for (let nth = 0; nth < pixels.length / 3; nth++) {
    const row = Math.floor(nth / width);
    rows[row * (width + 1) + 1 + (nth % width)] = numbers.get(pixels.readUIntBE(nth * 3, 3) & mask);
  }
  return { palette, rows };
}

function written({ width, height, palette, rows }) {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  // 8 bits, by palette.
  head.set([8, 3], 8);
  const colours = Buffer.alloc(palette.length * 3);
  for (const [nth, colour] of palette.entries()) colours.writeUIntBE(colour, nth * 3, 3);
  return Buffer.concat([
    Buffer.from('89504e470d0a1a0a', 'hex'),
    chunk('IHDR', head),
    chunk('PLTE', colours),
    chunk('IDAT', deflateSync(rows, { level: 9 })),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

function chunk(type, body) {
  const named = Buffer.concat([Buffer.from(type, 'latin1'), body]);
  const out = Buffer.alloc(named.length + 8);
  out.writeUInt32BE(body.length, 0);
  named.copy(out, 4);
  out.writeUInt32BE(crc32(named), named.length + 4);
  return out;
}
