/** The owner's forms of planned work. Each is sent as it is, without script. */
import type { FormProps } from '../owner-props.ts';
import type { PlanFormProps } from '../props-planned.ts';
import { Act } from './acts.tsx';

export function PlanForm({ form }: { readonly form: PlanFormProps }) {
  return (
    <Act form={form}>
      <label for="plan-lasts">For how long, as 45m or 2h</label>
      <input id="plan-lasts" name="lasts" value="45m" autocomplete="off" />
      <label for="plan-from">From; empty: now (on the clock of {form.zone})</label>
      <input id="plan-from" name="from" type="datetime-local" />
      <label for="plan-to">To, in place of how long</label>
      <input id="plan-to" name="to" type="datetime-local" />
      <label for="plan-why">Why</label>
      <input id="plan-why" name="why" maxLength={form.whyCharsMax} autocomplete="off" />
      <fieldset>
        <legend>On which services; none: all</legend>
        {form.services.map(({ id, name }) => (
          <label key={id}>
            <input type="checkbox" name="service" value={id} />
            <bdi>{name}</bdi>
          </label>
        ))}
      </fieldset>
      <button type="submit">Plan it</button>
    </Act>
  );
}

export function EndForm({ form, name }: { readonly form: FormProps; readonly name: string }) {
  return (
    <Act form={form}>
      <button type="submit">
        End now<span class="unseen"> {name}</span>
      </button>
    </Act>
  );
}
