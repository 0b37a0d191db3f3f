/** What Rollcall measures of itself. */
import { cpuUsage, memoryUsage } from 'node:process';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Board } from './board.ts';
import type { Family } from './openmetrics.ts';
import { isFailing } from './self-props.ts';

export function houseFamilies(board: Board): Family[] {
  const { startedAt, lateness, troubles } = board.self();
  const { p99Ms, maxMs } = lateness();
  const createdS = startedAt / 1_000;
  const { user, system } = cpuUsage();
  return [
    {
      name: 'rollcall_build',
      type: 'info',
      help: 'The version that runs.',
      samples: [{ labels: { version: board.version } }],
    },
    gauge(
      'rollcall_start_time_seconds',
      'When Rollcall started, since the epoch.',
      createdS,
      'seconds',
    ),
    gauge(
      'rollcall_troubles',
      'Sentences that Rollcall says about what is wrong with itself.',
      troubles.length,
    ),
    ...latenessFamilies(p99Ms, maxMs),
    ...recordFamilies(board, createdS),
    ...channelFamilies(board),
    gauge('rollcall_resident_memory_bytes', 'Memory of the process.', memoryUsage.rss(), 'bytes'),
    {
      name: 'rollcall_cpu_seconds',
      type: 'counter',
      unit: 'seconds',
      help: 'Processor time of the process.',
      createdS,
      samples: [{ labels: {}, value: (user + system) / 1_000_000 }],
    },
  ];
}

function latenessFamilies(p99Ms: number | null, maxMs: number | null): Family[] {
  const measured = [
    ['0.99', p99Ms],
    ['1', maxMs],
  ] as const;
  return [
    {
      name: 'rollcall_lateness_seconds',
      type: 'gauge',
      unit: 'seconds',
      help: 'How late services were asked lately: the slowest hundredth, and the latest.',
      samples: measured.flatMap(([share, ms]) =>
        ms === null ? [] : { labels: { share }, value: ms / 1_000 },
      ),
    },
  ];
}

function recordFamilies(board: Board, createdS: number): Family[] {
  const { writable, queuedCount, droppedCount, sizeBytes } = board.record.health();
  return [
    gauge('rollcall_record_writable', 'Whether the record can be written.', writable ? 1 : 0),
    gauge('rollcall_record_size_bytes', 'Size of the record.', sizeBytes, 'bytes'),
    gauge('rollcall_record_queued', 'What waits to be written.', queuedCount),
    {
      name: 'rollcall_record_dropped',
      type: 'counter',
      help: 'Observations that were lost because the record could not be written.',
      createdS,
      samples: [{ labels: {}, value: droppedCount }],
    },
  ];
}

function channelFamilies(board: Board): Family[] {
  const { channels, deadLetters } = board.telling();
  const labelsOf = (name: string) => ({ channel: cleanText(name, nameCharsMax) });
  return [
    {
      name: 'rollcall_channel_failing',
      type: 'gauge',
      help: 'Whether the last attempt at a channel failed.',
      samples: channels.map((channel) => ({
        labels: labelsOf(channel.name),
        value: isFailing(channel) ? 1 : 0,
      })),
    },
    {
      name: 'rollcall_channel_waiting_notices',
      type: 'gauge',
      help: 'Notices that were tried in vain and wait for another try.',
      samples: channels.map(({ name, waitingCount }) => ({
        labels: labelsOf(name),
        value: waitingCount,
      })),
    },
    gauge('rollcall_dead_letters', 'Notices that could not be delivered.', deadLetters.length),
  ];
}

function gauge(name: string, help: string, value: number, unit?: string): Family {
  const samples = [{ labels: {}, value }];
  return { name, type: 'gauge', help, samples, ...(unit !== undefined && { unit }) };
}
