// The last hours of every station on one time axis, as in a graphic timetable: hours run right through all lines, the right edge is now. Twelve of
// them; fewer while the mill remembers fewer, so that a new board shows its first minutes as a course and not as a speck. On wide screens only.
// Gaps stay gaps.
import { useEffect, useRef, useState } from "preact/hooks";
import { fetchCurves, gapAfter } from "./curve";
import { useHere } from "./context";
import { room } from "./room";
import { hour, type Now } from "./say";
import type { Curve, Point, Value } from "./types";

const isWide = () => room() >= 1100;
/** How far the axis may reach back, in hours, with the pause between its marks in minutes. */
const axes = [{ hours: 1 / 3, mark: 5 }, { hours: 1, mark: 15 }, { hours: 3, mark: 60 }, { hours: 12, mark: 180 }] as const;
const columns = 120;

export type Axis = (typeof axes)[number];

/** The shortest axis that holds all that is remembered since oldest. */
export function axisOf(oldest: number, now: number): Axis {
  return axes.find((a) => now - oldest < a.hours * 3600e3) ?? axes[3];
}

/** True while there is room. */
export function useWide(): boolean {
  const [is, set] = useState(isWide());
  useEffect(() => {
    const look = () => set(isWide());
    addEventListener("resize", look);
    return () => removeEventListener("resize", look);
  }, []);
  return is;
}

/** The marks of the axis by the site's clock, each with its place in per cent. */
function marks(now: Now, { hours, mark }: Axis): { at: number; text: string }[] {
  const from = now.wall - hours * 3600e3, step = Math.min(mark, 60) * 60e3;
  const out = [];
  for (let t = Math.ceil(from / step) * step; t < now.wall; t += step) {
    const text = hour(t, now);
    if (mark <= 60 || parseInt(text, 10) % (mark / 60) === 0) out.push({ at: ((t - from) / (now.wall - from)) * 100, text });
  }
  return out;
}

/** The hours over the lines, with now as the railway's clerk would write it; null: they are still coming, and a word says so. */
export function Hours({ axis }: { axis: Axis | null }) {
  const { now, words } = useHere();
  if (!axis) return <p class="hours" role="status">{words.hoursCome}</p>;
  return (
    <div class="hours" role="img" aria-label={words.lastHours(axis.hours)}>
      {marks(now, axis).filter((m) => m.at > 4 && m.at < (room() < 1400 ? 55 : 72)).map((m) => <span style={{ left: `${m.at}%` }}>{m.text}</span>)}
      <b>{hour(now.wall, now)}</b>
    </div>
  );
}

/** Draws a line through values, lifted over gaps; h0 makes a dot of what stands alone. */
function path(c: Curve, present: Present | null, x: (at: number) => number, y: (value: number) => number): string {
  const gap = gapAfter(c);
  let before = -Infinity;
  const step = (at: number, value: number, lifted: boolean) => `${lifted ? "M" : "L"}${x(at).toFixed(2)} ${y(value).toFixed(2)}${lifted ? "h0" : ""}`;
  let d = "";
  for (const [i, t] of c.time.entries()) {
    d += step(t, c.last[i]!, t - before > gap);
    before = t;
  }
  // What has come since the question has no columns yet: that is no gap.
  if (present && present.at > before) d += step(present.at, present.value, c.to - before > gap);
  return d;
}

/** What stands at a point: seconds of the wall clock, and the value. */
interface Present { at: number; value: number }

function presentOf(v: Value | undefined, now: Now): Present | null {
  return v?.at && v.quality !== "bad" && v.number !== null ? { at: (now.wall - (now.mono - v.at)) / 1000, value: v.number } : null;
}

/** Pauses before asking again: when all went well, where the mill's time runs fast, and after a question without an answer. */
const again = { usual: 60e3, fast: 10e3, failed: 3e3 };

/** The courses of the lines by their points, on the axis that they are drawn on. */
export interface Courses { axis: Axis; curves: ReadonlyMap<string, Curve> }

/**
 * The courses of all lines, in one answer, asked again now and then; null until something is remembered, since an axis without its lines tells that
 * nothing was. The first asks for the whole axis; if little is remembered the next asks for the shorter one, and what came first is drawn on it until
 * then. An answer that does not come leaves what was, and is asked for again soon.
 */
export function useCourses(points: readonly string[], on: boolean): Courses | null {
  const { frame, now } = useHere();
  const [curves, set] = useState<ReadonlyMap<string, Curve>>(new Map());
  const [oldest, remember] = useState(Infinity);
  const latest = useRef(now);
  latest.current = now;
  const none = oldest === Infinity;
  const axis = none ? axes[3] : axisOf(oldest, now.wall);
  const pause = frame.plan.speed > 1 ? again.fast : again.usual;
  useEffect(() => {
    if (!on || points.length === 0) return;
    const fetching = new AbortController();
    let wait = 0;
    const look = async () => {
      let next = pause;
      try {
        const to = latest.current.wall;
        const got = await fetchCurves(points, to - axis.hours * 3600e3, to, columns, fetching.signal);
        const since = Math.min(...got.map(first));
        if (since === Infinity) next = again.failed;
        set(new Map(got.map((c) => [c.point, c])));
        remember((o) => Math.min(o, since));
      } catch {
        next = again.failed;
      }
      if (!fetching.signal.aborted) wait = setTimeout(() => void look(), next);
    };
    void look();
    return () => { clearTimeout(wait); fetching.abort(); };
  }, [points.join(" "), on, pause, axis.hours]);
  return none ? null : { axis, curves };
}

/** The first moment of which a curve tells something, in milliseconds. */
function first(c: Curve): number {
  return Math.min(c.time[0] ?? Infinity, c.bad[0]?.from ?? Infinity) * 1000;
}

/** The course of one point; its room alone until the courses have come. */
export function Course({ point, courses }: { point: Point; courses: Courses | null }) {
  return courses ? <Drawn point={point} courses={courses} /> : <span class="course coming" />;
}

function Drawn({ point, courses }: { point: Point; courses: Courses }) {
  const { frame, now } = useHere();
  const { axis } = courses, curve = courses.curves.get(point.name);
  const to = now.wall / 1000, from = to - axis.hours * 3600;
  const seen = curve?.time.length ? curve : null;
  const present = presentOf(frame.values[point.name], now);
  // The scale is that of what was, but no finer than a quarter of the bar's range: what moves is seen to move, and noise stays small.
  const standing = present ? [present.value] : [];
  const low = seen ? Math.min(...seen.low, ...standing) : 0, high = seen ? Math.max(...seen.high, ...standing) : 1;
  const finest = point.range ? (point.range.high - point.range.low) / 4 : 0;
  const spare = Math.max((high - low) * 0.15, (finest - (high - low)) / 2, 1e-6);
  const bottom = low - spare, top = high + spare;
  const y = (value: number) => Math.max(4, Math.min(96, 92 - ((value - bottom) / (top - bottom)) * 84));
  return (
    <span class="course">
      <svg viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true">
        {seen && point.normal && y(point.normal.low) > y(point.normal.high) && (
          <rect class="norm" x="0" width="100" y={y(point.normal.high)} height={y(point.normal.low) - y(point.normal.high)} />
        )}
        {marks(now, axis).map((m) => <path class="hour" d={`M${m.at} 0V100`} />)}
        {seen && (point.limits ?? []).filter((l) => l.value > bottom && l.value < top).map((l) => <path class="limit" d={`M0 ${y(l.value)}H100`} />)}
        {seen && <path class="trace" d={path(seen, present, (at) => ((at - from) / (to - from)) * 100, y)} />}
      </svg>
    </span>
  );
}
