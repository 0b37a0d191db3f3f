/** Asks a plain port: does it accept and, where that is wanted, does it say what is expected? */
import type * as z from 'zod';
import { cleanText } from '../base/text.ts';
import type { Observation, Trouble } from '../base/values.ts';
import { runBounded } from './bounded-run.ts';
import { type Decoder, decoded, malformed, needMore, type Step } from './decoding.ts';
import { type Course, trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';
import { patternOf } from './settings/expected-text.ts';
import type { tcp } from './settings/tcp.ts';
import { converse, type Wire } from './socket.ts';

type TcpSettings = z.output<typeof tcp.schema>;

/** Characters of what a peer said that are shown. */
const saidCharsMax = 80;

export function askTcp(settings: TcpSettings, context: ProbeContext): Promise<Observation> {
  return converse(settings, context, (wire, course) => talk(settings, wire, course));
}

async function talk(settings: TcpSettings, wire: Wire, course: Course): Promise<Observation> {
  if (settings.send !== undefined) wire.write(Buffer.from(settings.send));
  if (settings.expect === undefined) return course.answered();
  course.phase('answer');
  let heard = '';
  const search = searchFor(settings.expect);
  const found = await wire.read((bytes) => {
    heard = bytes.toString();
    return search(bytes);
  });
  if (found.ok) return course.answered({ said: cleanText(heard, saidCharsMax) });
  return course.troubled(missing(found, heard, settings.expect));
}

/** Takes everything once the text is in it, wherever the chunks were cut. */
function searchFor(expected: string): Decoder<true> {
  const pattern = patternOf(expected);
  return (bytes) => {
    const text = bytes.toString();
    const search = runBounded(() => (pattern ? pattern.test(text) : text.includes(expected)));
    if (!search.ok) return malformed('the search for the expected text took too long on it');
    return search.value ? decoded(true, bytes.length) : needMore;
  };
}

/** Something was said that lacks the text; a peer that said nothing keeps its own trouble. */
function missing(found: Step<true> & { ok: false }, heard: string, expected: string): Trouble {
  if (heard === '' || found.trouble.layer !== 'protocol') return found.trouble;
  return trouble(
    'text-missing',
    `it says “${cleanText(heard, saidCharsMax)}”, which lacks ${cleanText(expected, saidCharsMax)}`,
    'Is it the service that you meant? Look what listens on this port.',
  );
}
