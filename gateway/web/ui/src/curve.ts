// The course of a point, asked from the history.
import type { Curve } from "./types";
import { turnCurve } from "./units";

/** Asks for what the history tells between two moments of the wall clock, in milliseconds. */
async function ask<T>(path: string, points: readonly string[], from: number, to: number, columns: number, signal: AbortSignal): Promise<T> {
  const q = new URLSearchParams({ from: new Date(from).toISOString(), to: new Date(to).toISOString(), columns: String(columns) });
  for (const p of points) q.append("point", p);
  const answer = await fetch(`${path}?${q.toString()}`, { signal });
  if (!answer.ok) throw new Error(`page: reading ${points.join(", ")}: ${answer.status}`);
  return await answer.json() as T;
}

/** The curve of one point. */
export async function fetchCurve(point: string, from: number, to: number, columns: number, signal: AbortSignal): Promise<Curve> {
  const got = await ask<Curve>("/api/readings", [point], from, to, columns, signal);
  const start = performance.now();
  const curve = turnCurve(got);
  measured("curve: read", start);
  return curve;
}

/** The curves of several points, in the order asked. */
export async function fetchCurves(points: readonly string[], from: number, to: number, columns: number, signal: AbortSignal): Promise<Curve[]> {
  return (await ask<Curve[]>("/api/courses", points, from, to, columns, signal)).map(turnCurve);
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
