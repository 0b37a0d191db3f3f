/** Runs a calculation over hostile input for a bounded time: an owner's pattern may never end on the text that a peer sends. */
import { createContext, Script } from 'node:vm';
import { calculationMsMax } from '../base/limits.ts';

type Outcome<T> = { readonly ok: true; readonly value: T } | { readonly ok: false };

// The engine stops whatever runs below the script, regular expressions included, when its time is over.
const script = new Script('run()');
/** A context takes half a megabyte; few houses need one. */
let sandbox: { run: () => void } | null = null;

/** Not ok: it took too long. What `calculate` throws comes through. It must be synchronous and change nothing outside. */
export function runBounded<T>(calculate: () => T): Outcome<T> {
  let value: Outcome<T> = { ok: false };
  sandbox ??= createContext({ run: () => {} }) as { run: () => void };
  sandbox.run = () => {
    value = { ok: true, value: calculate() };
  };
  try {
    script.runInContext(sandbox, { timeout: calculationMsMax });
  } catch (thrown) {
    if (!isTimeout(thrown)) throw thrown;
  } finally {
    sandbox.run = () => {};
  }
  return value;
}

/** The error is made inside the context, so it is no instance of our `Error`. */
function isTimeout(thrown: unknown): boolean {
  return (
    typeof thrown === 'object' &&
    thrown !== null &&
    'code' in thrown &&
    thrown.code === 'ERR_SCRIPT_EXECUTION_TIMEOUT'
  );
}
