/** Planned work: what is under way, what is to come, what was, and for the owner the form that declares some. */

import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { Named } from '../parts/named.tsx';
import { EndForm, PlanForm } from '../parts/planning.tsx';
import { When } from '../parts/when.tsx';
import type { PlannedPageProps, PlannedWindowProps } from '../props-planned.ts';

export function PlannedPage(props: PlannedPageProps) {
  const { frame, now, sentence, running, toCome, past, file, plan } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence}>
        Planned time counts for nothing, and single changes in it are not told.{' '}
        <a href={file}>As a calendar</a>
      </Lede>
      {running.length > 0 && (
        <Entry id="running" heading="Under way">
          <Windows windows={running} />
        </Entry>
      )}
      {plan && (
        <Entry id="plan" heading="Plan">
          <PlanForm form={plan} />
        </Entry>
      )}
      <Entry id="to-come" heading="To come">
        {toCome.length === 0 ? <p>Nothing.</p> : <Windows windows={toCome} />}
      </Entry>
      <Entry id="past" heading="Past">
        {past.length === 0 ? <p>Nothing so far.</p> : <Windows windows={past} />}
      </Entry>
    </Frame>
  );
}

function Windows({ windows }: { readonly windows: readonly PlannedWindowProps[] }) {
  return (
    <ul class="ruled">
      {windows.map((window) => (
        <li key={window.id}>
          <Window {...window} />
        </li>
      ))}
    </ul>
  );
}

function Window({ name, why, from, to, lasting, services, end }: PlannedWindowProps) {
  return (
    <>
      <p>
        <bdi>{name}</bdi>: <When at={from} /> to <When at={to} />, {lasting}. On{' '}
        {services === null ? 'every service' : <Services services={services} />}.
        {why !== null && (
          <>
            {' '}
            <bdi>{why}</bdi>
          </>
        )}
      </p>
      {end && <EndForm form={end} name={name} />}
    </>
  );
}

function Services({
  services,
}: {
  readonly services: NonNullable<PlannedWindowProps['services']>;
}) {
  return (
    <>
      {services.map((service, place) => (
        <span key={service.href}>
          {place > 0 && ', '}
          <Named service={service} />
        </span>
      ))}
    </>
  );
}
