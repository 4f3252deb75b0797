// The course of a point, asked from the history.
import type { Curve } from "./types";
import { turnCurve } from "./units";

/** The curve between two moments of the wall clock, in milliseconds. */
export async function fetchCurve(point: string, from: number, to: number, columns: number, signal: AbortSignal): Promise<Curve> {
  const q = new URLSearchParams({ point, from: new Date(from).toISOString(), to: new Date(to).toISOString(), columns: String(columns) });
  const answer = await fetch(`/api/readings?${q.toString()}`, { signal });
  if (!answer.ok) throw new Error(`page: reading ${point}: ${answer.status}`);
  const text = await answer.text();
  const start = performance.now();
  const curve = turnCurve(JSON.parse(text) as Curve);
  measured("curve: read", start);
  return curve;
}

/** Tells the browser's own list how long a script took; the list keeps the last time alone, so that a page left open does not grow. */
export function measured(name: string, start: number): void {
  performance.clearMeasures(name);
  performance.measure(name, { start });
}

/**
 * So many seconds without a column are a gap and not the usual pause between readings: more than three columns, and more than three times
 * the usual distance of this point's columns. Chosen: two missed readings may hide between columns, three are seen.
 */
export function gapAfter(c: Curve): number {
  const steps = c.time.slice(1).map((t, i) => t - c.time[i]!).sort((a, b) => a - b);
  const usual = steps[Math.floor(steps.length / 2)] ?? 0;
  return 3 * Math.max(c.step, usual);
}
