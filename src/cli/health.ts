/** `rollcall health`: exit 0 while the running daemon is well, 1 when it is not or none runs. */
import { askDaemon } from './daemon-client.ts';
import { exit } from './place.ts';

export async function health(folder: string): Promise<void> {
  const answer = await askDaemon(folder, 'GET', '/health');
  if (answer === null) {
    process.stdout.write(`no daemon runs on ${folder}\n`);
    exit(1);
    return;
  }
  process.stdout.write(`${JSON.stringify(answer.body)}\n`);
  if (answer.status !== 200) exit(1);
}
