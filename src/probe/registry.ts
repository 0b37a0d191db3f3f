/** Which function asks which kind. A kind without one does not compile. */
import type { Observation } from '../base/values.ts';
import { askHttp } from './http.ts';
import { askIkev2 } from './ikev2.ts';
import { askMysql } from './mysql.ts';
import { askOpenvpn } from './openvpn.ts';
import { askPostgres } from './postgres.ts';
import type { Ask, ProbeContext } from './probe.ts';
import type { ProbeKind, ProbeSettings } from './settings/all.ts';
import { askTcp } from './tcp.ts';
import { askTds } from './tds.ts';
import { askWireguard } from './wireguard.ts';

type SettingsOf<Kind extends ProbeKind> = Extract<ProbeSettings, { kind: Kind }>;

const asks: { readonly [Kind in ProbeKind]: Ask<SettingsOf<Kind>> } = {
  http: askHttp,
  ikev2: askIkev2,
  mysql: askMysql,
  openvpn: askOpenvpn,
  postgres: askPostgres,
  tcp: askTcp,
  tds: askTds,
  wireguard: askWireguard,
};

/**
 * Asks once. Rejects only for what says nothing about the service: a defect, or this machine without descriptors or
 * memory. Then there is no observation.
 */
export function ask(settings: ProbeSettings, context: ProbeContext): Promise<Observation> {
  return askAs(settings.kind, settings, context);
}

function askAs<Kind extends ProbeKind>(
  kind: Kind,
  settings: SettingsOf<Kind>,
  context: ProbeContext,
): Promise<Observation> {
  return asks[kind](settings, context);
}
