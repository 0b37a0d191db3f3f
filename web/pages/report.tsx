/** A month: all services in one sentence, each for itself, and every outage. Made to be printed, too. */
import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { Named } from '../parts/named.tsx';
import { When } from '../parts/when.tsx';
import type {
  ReportedGroupProps,
  ReportedOutageProps,
  ReportedServiceProps,
  ReportPageProps,
} from '../props-report.ts';

export function ReportPage(props: ReportPageProps) {
  const { frame, now, month, totals, period, groups, outages, moreOutages } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={month}>
        {totals} {period}
      </Lede>
      <Ways {...props} />
      {groups.map((group, place) => (
        <Group key={group.name} group={group} id={`group-${place}`} />
      ))}
      <Entry id="outages" heading="Outages">
        {outages.length === 0 ? <p>None.</p> : <Outages outages={outages} />}
        {moreOutages && <p>{moreOutages}</p>}
      </Entry>
    </Frame>
  );
}

function Ways({ earlier, later, files }: ReportPageProps) {
  const months = [earlier, later].filter((link) => link !== null);
  return (
    <nav class="entry ranges further" aria-label="Months and files">
      {[...months, ...files].map(({ name, href }) => (
        <a key={href} class="alone" href={href}>
          {name}
        </a>
      ))}
    </nav>
  );
}

function Group({ group, id }: { readonly group: ReportedGroupProps; readonly id: string }) {
  const { name, share, how, services } = group;
  return (
    <Entry id={id} heading={name ?? 'Services'}>
      <dl class="ruled pairs">
        {share && (
          <div>
            <dt>All together</dt>
            <dd>
              <span class="value">{share}</span>
              {how && <span class="aside">{how}</span>}
            </dd>
          </div>
        )}
        {services.map((service) => (
          <Service key={service.href} service={service} />
        ))}
      </dl>
    </Entry>
  );
}

function Service({ service }: { readonly service: ReportedServiceProps }) {
  const { name, href, share, bounds, how } = service;
  return (
    <div>
      <dt>
        <a href={href} dir="auto">
          {name}
        </a>
      </dt>
      <dd>
        <span class="value">{share}</span>
        {bounds && <span> {bounds}</span>}
        <span class="aside">{how}</span>
      </dd>
    </div>
  );
}

function Outages({ outages }: { readonly outages: readonly ReportedOutageProps[] }) {
  return (
    <ol class="ruled outages">
      {outages.map(({ page, began, service, lasted, what, cause }) => (
        <li key={page}>
          <a class="alone" href={page}>
            <When at={began} />
          </a>{' '}
          <span class="lasted">{lasted}</span>{' '}
          <span class="what">
            <Named service={service} />.{' '}
            {cause && (
              <>
                Behind <Named service={cause} />.{' '}
              </>
            )}
            {what}
          </span>
        </li>
      ))}
    </ol>
  );
}
