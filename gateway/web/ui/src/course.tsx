// The last hours of every station on one time axis, as in a graphic timetable: hours run right through all lines, the right edge is now. Twelve of
// them; fewer while the mill remembers fewer, so that a new board shows its first minutes as a course and not as a speck. On wide screens only.
// Gaps stay gaps.
import { useEffect, useRef, useState } from "preact/hooks";
import { fetchCurve, gapAfter } from "./curve";
import { useHere } from "./context";
import { hour, type Now } from "./say";
import type { Curve, Point } from "./types";

const wide = matchMedia("(min-width: 1100px)");
/** How far the axis may reach back, in hours, with the pause between its marks in minutes. */
const axes = [{ hours: 1, mark: 15 }, { hours: 3, mark: 60 }, { hours: 12, mark: 180 }] as const;
const columns = 200;

export type Axis = (typeof axes)[number];

/** The shortest axis that holds all that is remembered since oldest; the whole one while that is not known. */
export function axisOf(oldest: number, now: number): Axis {
  return axes.find((a) => now - oldest < a.hours * 3600e3) ?? axes[2];
}

/** True while there is room. */
export function useWide(): boolean {
  const [is, set] = useState(wide.matches);
  useEffect(() => {
    const look = () => set(wide.matches);
    wide.addEventListener("change", look);
    return () => wide.removeEventListener("change", look);
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

/** The hours over the lines, with now as the railway's clerk would write it. */
export function Hours({ axis }: { axis: Axis }) {
  const { now, words } = useHere();
  return (
    <div class="hours" role="img" aria-label={words.lastHours(axis.hours)}>
      {marks(now, axis).filter((m) => m.at > 4 && m.at < 72).map((m) => <span style={{ left: `${m.at}%` }}>{m.text}</span>)}
      <b>{hour(now.wall, now)}</b>
    </div>
  );
}

/** The path in a box of 100 by 100. */
function path(c: Curve, from: number, to: number, low: number, high: number): string {
  const gap = gapAfter(c);
  let d = "";
  let before = -Infinity;
  for (const [i, t] of c.time.entries()) {
    const x = ((t - from) / (to - from)) * 100;
    const y = 92 - ((c.last[i]! - low) / (high - low)) * 84;
    d += `${t - before > gap ? "M" : "L"}${x.toFixed(2)} ${y.toFixed(2)}`;
    before = t;
  }
  return d;
}

/** The curve, asked again now and then. */
function useCurve(point: Point, hours: number): Curve | null {
  const { frame, now } = useHere();
  const [curve, set] = useState<Curve | null>(null);
  const latest = useRef(now);
  latest.current = now;
  const every = frame.plan.speed > 1 ? 10e3 : 60e3;
  useEffect(() => {
    const fetching = new AbortController();
    // A curve that could not be read is left as it was: its line ends where it ended.
    const look = () => fetchCurve(point.name, latest.current.wall - hours * 3600e3, latest.current.wall, columns, fetching.signal).then(set, () => undefined);
    void look();
    const t = setInterval(look, every);
    return () => { clearInterval(t); fetching.abort(); };
  }, [point.name, every, hours]);
  return curve;
}

/** The course of one point; begins is told the first moment of which something is known, in milliseconds. */
export function Course({ point, axis, begins }: { point: Point; axis: Axis; begins: (at: number) => void }) {
  const { now } = useHere();
  const curve = useCurve(point, axis.hours);
  const to = now.wall / 1000, from = to - axis.hours * 3600;
  const first = Math.min(curve?.time[0] ?? Infinity, curve?.bad[0]?.from ?? Infinity) * 1000;
  useEffect(() => begins(first), [first]);
  const seen = curve?.time.length ? curve : null;
  // The scale is that of what was, but no finer than a quarter of the bar's range: what moves is seen to move, and noise stays small.
  const low = seen ? Math.min(...seen.low) : 0, high = seen ? Math.max(...seen.high) : 1;
  const finest = point.range ? (point.range.high - point.range.low) / 4 : 0;
  const room = Math.max((high - low) * 0.15, (finest - (high - low)) / 2, 1e-6);
  const bottom = low - room, top = high + room;
  const y = (v: number) => Math.max(4, Math.min(96, 92 - ((v - bottom) / (top - bottom)) * 84));
  return (
    <span class="course">
      <svg viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true">
        {seen && point.normal && y(point.normal.low) > y(point.normal.high) && (
          <rect class="norm" x="0" width="100" y={y(point.normal.high)} height={y(point.normal.low) - y(point.normal.high)} />
        )}
        {marks(now, axis).map((m) => <path class="hour" d={`M${m.at} 0V100`} />)}
        {seen && (point.limits ?? []).filter((l) => l.value > bottom && l.value < top).map((l) => <path class="limit" d={`M0 ${y(l.value)}H100`} />)}
        {seen && <path class="trace" d={path(seen, from, to, bottom, top)} />}
      </svg>
    </span>
  );
}
