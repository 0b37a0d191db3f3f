/** The owner's forms. Each is sent as it is, without script, and carries the token that shows where it came from. */
import type { ComponentChildren } from 'preact';
import type { FormProps } from '../owner-props.ts';

interface ActProps {
  readonly form: FormProps;
  readonly children: ComponentChildren;
}

export function Act({ form, children }: ActProps) {
  return (
    <form class="form" method="post" action={form.action}>
      <input type="hidden" name="token" value={form.token} />
      {children}
    </form>
  );
}

/** `charsMax`: of the note. */
export function NoteForm({
  form,
  charsMax,
}: {
  readonly form: FormProps;
  readonly charsMax: number;
}) {
  return (
    <Act form={form}>
      <label for="note-text">Add a note</label>
      <textarea id="note-text" name="text" rows={4} maxLength={charsMax} required />
      <button type="submit">Add</button>
    </Act>
  );
}

export function KnownForm({ form }: { readonly form: FormProps }) {
  return (
    <Act form={form}>
      <button type="submit">I know: no more reminders</button>
    </Act>
  );
}

export function AskForm({ form }: { readonly form: FormProps }) {
  return (
    <Act form={form}>
      <button type="submit">Ask now</button>
    </Act>
  );
}

interface TestFormProps {
  readonly form: FormProps;
  /** Its name as it is configured, and as it is shown. */
  readonly channel: string;
  readonly name: string;
}

export function TestForm({ form, channel, name }: TestFormProps) {
  return (
    <Act form={form}>
      <input type="hidden" name="channel" value={channel} />
      <button type="submit">
        Send a test notice<span class="unseen"> to {name}</span>
      </button>
    </Act>
  );
}
