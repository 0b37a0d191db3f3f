/** The end of an output: bytes from anybody, as lines that a page, a message and a record can bear. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { tailBytesMax } from '../../src/base/limits.ts';
import { lastLine, lastLines, outputTail } from '../../src/base/output-tail.ts';

const tail = (text: string) => outputTail(Buffer.from(text));

describe('the end of an output', () => {
  test.each([
    ['line ends of any kind', 'one\r\ntwo\rthree\nfour', 'one\ntwo\nthree\nfour'],
    [
      'colours (ECMA-48, SGR)',
      '\u001b[1;31mred\u001b[0m \u001b[38;2;1;2;3mtrue\u001b[m',
      'red true',
    ],
    [
      'titles and links (OSC, by BEL and by ST)',
      '\u001b]0;title\u0007a\u001b]8;;http://x\u001b\\b',
      'ab',
    ],
    ['a title that does not end', 'a\u001b]0;title', 'a'],
    ['other escapes', '\u001b(Ba\u001bcb\u001b=c\u001b7', 'abc'],
    ['controls, but for tabs', 'a\u0000b\u0007c\u007fd\u009fe\tf', 'abcde\tf'],
    ['marks of direction and separators', 'a\u202eb\u2066c\u200fd\u2028e\ufeff', 'abcde'],
    ['empty lines in a row, and around it', '\n\n a \n\n\n\nb  \n\n', 'a\n\nb'],
    ['bytes that are no text', Buffer.from([0x61, 0xff, 0xfe, 0x62]).toString('latin1'), 'aÿþb'],
    ['nothing', '\u001b[0m\r\n', ''],
  ])('without %s', (_, given, expected) => expect(tail(given)).toBe(expected));

  test('what is no UTF-8 is replaced', () => {
    expect(outputTail(Buffer.from([0x61, 0xff, 0x62]))).toBe('a\ufffdb');
  });

  test('no character is cut through', () => {
    expect(tail('🏺'.repeat(10_000))).toBe('🏺'.repeat(tailBytesMax / 4));
    expect(tail(`x${'€'.repeat(10_000)}`)).toMatch(/^€+$/);
  });

  test('whatever comes, it is bounded and plain', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 3 * tailBytesMax }), (bytes) => {
        const text = outputTail(bytes);
        expect(Buffer.byteLength(text)).toBeLessThanOrEqual(tailBytesMax);
        // biome-ignore lint/suspicious/noControlCharactersInRegex: that there are none is what is tested
        expect(text).not.toMatch(/[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u2028-\u202e]/);
        // Throws for half a character.
        expect(() => encodeURIComponent(text)).not.toThrow();
        expect(outputTail(Buffer.from(text))).toBe(text);
      }),
      { seed: 1 },
    );
  });
});

test('the last line is the last that says something', () => {
  expect(lastLine('copying\nno space left\n\n---\n  ')).toBe('no space left');
  expect(lastLine('---\n')).toBe('');
  expect(lastLine('a\tb  c')).toBe('a b c');
  expect(lastLine(`x\n${'y'.repeat(500)}`).length).toBe(200);
});

test('the last lines are whole, unless one alone is too long', () => {
  expect(lastLines('one\ntwo\nthree', 100)).toBe('one\ntwo\nthree');
  expect(lastLines('one\ntwo\nthree', 10)).toBe('two\nthree');
  expect(lastLines('one\ntwo\nthree', 8)).toBe('three');
  expect(lastLines('one\ntwo\nthree', 4)).toBe('hree');
  expect(lastLines(`a${'🏺'.repeat(10)}`, 5)).toBe('🏺🏺');
});
