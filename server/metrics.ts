import { collectDefaultMetrics, Counter, Gauge, Histogram, Registry } from 'prom-client';
import type { ProcessUsage } from './measuring/visionProcess.ts';

/** The figures that `/metrics` shows; one set a process (or a test's server). */
export interface Metrics {
  registry: Registry;
  requestSeconds: Histogram<'method' | 'route' | 'status'>;
  measurements: Counter<'outcome'>;
  measuringSeconds: Histogram;
  uploadsBusy: Gauge;
  queued: Gauge;
}

/** @param measuring asks what the measuring processes take; the default metrics are of this process alone */
export function createMetrics(measuring: () => ProcessUsage): Metrics {
  const registry = new Registry();
  collectDefaultMetrics({ register: registry });
  const registers = [registry];
  new Gauge({
    name: 'swatch_gauge_measuring_memory_bytes',
    help: 'Resident memory of the measuring processes, as of their last answers.',
    registers,
    collect() {
      this.set(measuring().residentBytes);
    },
  });
  new Counter({
    name: 'swatch_gauge_measuring_cpu_seconds_total',
    help: 'Processor time of the measuring processes, as of their last answers.',
    registers,
    collect() {
      this.reset();
      this.inc(measuring().cpuSeconds);
    },
  });
  return {
    registry,
    requestSeconds: new Histogram({
      name: 'swatch_gauge_request_seconds',
      help: 'Time to answer a request, by route pattern (never by address, which could hold an id).',
      labelNames: ['method', 'route', 'status'],
      buckets: [0.005, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 30],
      registers,
    }),
    measurements: new Counter({
      name: 'swatch_gauge_measurements_total',
      help: 'Photos measured, by outcome: ok, unsure, refused, or the code of what went wrong.',
      labelNames: ['outcome'],
      registers,
    }),
    measuringSeconds: new Histogram({
      name: 'swatch_gauge_measuring_seconds',
      help: 'Time from taking a photo up to its answer.',
      buckets: [0.2, 0.5, 1, 2, 3, 5, 10, 20, 30],
      registers,
    }),
    uploadsBusy: new Gauge({
      name: 'swatch_gauge_uploads_busy',
      help: 'Uploads being received or checked.',
      registers,
    }),
    queued: new Gauge({
      name: 'swatch_gauge_queued',
      help: 'Photos waiting to be measured, as last looked at.',
      registers,
    }),
  };
}
