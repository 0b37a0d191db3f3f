/**
 * A port of loopback that drops every new connection silently, like a host that is switched off: a listener that is
 * stopped (SIGSTOP) with its queue of waiting connections full. Linux then drops further SYNs (listen(2), tcp(7)).
 */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { connect } from 'node:net';

export interface FullPort extends AsyncDisposable {
  readonly port: number;
}

const listener = `
  const server = require('node:net').createServer();
  server.listen({ host: '127.0.0.1', port: 0, backlog: 1 }, () => console.log(server.address().port));
`;

export async function fullPort(): Promise<FullPort> {
  const child = spawn(process.execPath, ['-e', listener], { stdio: ['ignore', 'pipe', 'inherit'] });
  const [line] = await once(child.stdout, 'data');
  const port = Number(String(line));
  child.kill('SIGSTOP');
  const fillers = Array.from({ length: 8 }, () => connect(port, '127.0.0.1').on('error', () => {}));
  await once(fillers[0]!, 'connect');
  return {
    port,
    [Symbol.asyncDispose]: async () => {
      for (const filler of fillers) filler.destroy();
      child.kill('SIGKILL');
      await once(child, 'exit');
    },
  };
}
