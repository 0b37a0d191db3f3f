/** The settings of every kind of probe. A new probe adds one line here and one in `../registry.ts`. */
import type * as z from 'zod';
import { http } from './http.ts';
import { ikev2 } from './ikev2.ts';
import { mysql } from './mysql.ts';
import { openvpn } from './openvpn.ts';
import { postgres } from './postgres.ts';
import { tcp } from './tcp.ts';
import { tds } from './tds.ts';
import { wireguard } from './wireguard.ts';

export const declarations = [http, ikev2, mysql, openvpn, postgres, tcp, tds, wireguard] as const;

export type ProbeSettings = z.output<(typeof declarations)[number]['schema']>;
export type ProbeKind = ProbeSettings['kind'];
