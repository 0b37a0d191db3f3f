/** What the YAML parser finds, in plain words. */
import type { ErrorCode, YAMLError } from 'yaml';

const sentences: Readonly<Partial<Record<ErrorCode, string>>> = {
  ALIAS_PROPS: 'an alias (`*name`) stands alone: it can have neither a tag nor an anchor',
  BAD_ALIAS: 'expected a name after `*` or `&`; a text that begins so goes in quotes',
  BAD_COLLECTION_TYPE: 'tags are not used here: leave out what begins with `!`',
  BAD_DIRECTIVE:
    'a line that begins with `%` is not used here; a text that begins so goes in quotes',
  BAD_DQ_ESCAPE:
    'an escape after `\\` that YAML does not know: write `\\\\` for the sign itself, or use single quotes',
  BAD_INDENT:
    'this line is not indented like its neighbours: keys of one block begin in one column',
  BAD_PROP_ORDER: 'an anchor (`&name`) stands before the value that it names',
  BAD_SCALAR_START: 'a text cannot begin with this sign: put it in quotes',
  BLOCK_AS_IMPLICIT_KEY:
    'a second `: ` belongs to this value: a text with `: ` in it goes in quotes, a block of keys begins below its key',
  BLOCK_IN_FLOW: 'lines with `- ` or `key:` blocks cannot stand within { } or [ ]',
  KEY_OVER_1024_CHARS: 'a key of more than 1024 characters: is a quote or a bracket left open?',
  MISSING_CHAR: 'a bracket, a comma or a colon is missing before this',
  MULTILINE_IMPLICIT_KEY: 'this is no `key: value`: is there a colon, and a space after it?',
  MULTIPLE_ANCHORS: 'a value can have one anchor (`&name`)',
  MULTIPLE_DOCS: 'a second document begins here (`---`): one file holds one configuration',
  MULTIPLE_TAGS: 'tags are not used here: leave out what begins with `!`',
  RESOURCE_EXHAUSTION: 'blocks within blocks, more than anybody needs: is a bracket left open?',
  TAB_AS_INDENT: 'a tab: YAML is indented with spaces only',
  TAG_RESOLVE_FAILED: `tags are not used here: leave out what begins with \`!\` (a secret is \`\${NAME}\` or \`file:PATH\`)`,
  UNEXPECTED_TOKEN:
    'this does not belong here: is a quote, a bracket or a dash too many or too few?',
};

/** Where one code stands for several mistakes: by how the parser's own sentence begins. First match. */
const byMessage: readonly (readonly [RegExp, string])[] = [
  [/^Flow /, 'a bracket was opened before this and not closed: `]` or `}` is missing'],
  [/^Missing closing/, 'a quote is opened here and never closed'],
  [/^Sequence item without/, sentences.BAD_INDENT ?? ''],
  [/^Implicit map keys/, sentences.MULTILINE_IMPLICIT_KEY ?? ''],
  [/^A block sequence/, 'a block holds either keys or `- ` items, not both'],
  [/^Unexpected block-seq-ind on same/, 'a list begins on the line below its key'],
  [/at node end$/, 'this stands behind the end of a value: put all of it in one pair of quotes'],
];

/** One sentence; never a piece of the file, which may hold a secret. */
export function sayYamlError(error: YAMLError, text: string): string {
  const offset = error.pos[0];
  if (text[offset] === '{' && text[offset - 1] === '$') {
    return `within { } or [ ] a \`\${NAME}\` goes in quotes: "\${NAME}"`;
  }
  const byBeginning = byMessage.find(([beginning]) => beginning.test(error.message))?.[1];
  const byCode = byBeginning ?? sentences[error.code];
  return byCode ?? 'this is no YAML: is a quote, a bracket or an indent wrong?';
}

/** The parser reports an open quote where the file ends, which helps nobody. */
export function isOpenQuote(error: YAMLError): boolean {
  return error.code === 'MISSING_CHAR' && error.message.startsWith('Missing closing');
}
