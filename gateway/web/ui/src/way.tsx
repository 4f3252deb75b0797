// The way of the coffee: every station a line with name, bar, number, age; on wide screens with its last hours.
import { Course, Hours, useCourses, useWide, type Courses } from "./course";
import { useHere } from "./context";
import { about, begins, length, number, reason, spoken, unitBeside } from "./say";
import { Bar, gravest } from "./shapes";
import type { Point, Station } from "./types";

/** Where a link goes without loading the page anew. */
export function Go({ to, children, label, ...rest }: {
  to: string; children: preact.ComponentChildren; class?: string; label?: string; style?: Record<string, string>;
}) {
  const { go } = useHere();
  const follow = (e: MouseEvent) => {
    if (e.metaKey || e.ctrlKey || e.shiftKey || e.button !== 0) return;
    e.preventDefault();
    go(to);
  };
  return <a href={to} onClick={follow} aria-label={label} title={label} {...rest}>{children}</a>;
}

/** The number of a point with unit and age, or the reason in words in its place; in short without the reason of what is only uncertain. */
export function Figure({ point, beside, short = false }: { point: Point; beside: string; short?: boolean }) {
  const { frame, now, words } = useHere();
  const v = frame.values[point.name];
  if (!v) return <span class="figure"><span class="reason">{words.never}</span></span>;
  if (v.quality === "bad") return <span class="figure"><span class="reason">{reason(v, now, words)}</span></span>;
  const unit = unitBeside(beside, point.unit);
  const age = v.at ? words.ago(length(now.mono - v.at)) : "";
  const why = v.quality === "uncertain" ? v.cause ?? "" : "";
  return (
    <span class="figure">
      <span class="number">
        {v.quality === "uncertain" && <abbr title={`${words.uncertain}: ${why ?? ""}`}>≈</abbr>}
        {number(v, words)}{unit && <i> {unit}</i>}
      </span>
      <span class="age">{why && !short ? `${why} · ` : ""}<span>{age}</span></span>
    </span>
  );
}

/** The points of a station, the leading one first. */
export function pointsOf(station: string, points: readonly Point[]): Point[] {
  const own = points.filter((p) => p.station === station);
  return [...own.filter((p) => p.leading), ...own.filter((p) => !p.leading)];
}

function leading(station: Station, points: readonly Point[]): Point | undefined {
  return pointsOf(station.name, points).find((p) => p.leading);
}

/** One station; beside its bar its course, where there is room: null while it is coming. */
function Line({ station, wide, courses }: { station: Station; wide: boolean; courses: Courses | null }) {
  const { frame, now, words } = useHere();
  const point = leading(station, frame.plan.points);
  const v = point && frame.values[point.name];
  const stay = station.lot
    ? `${words.lot} ${station.lot}${station.since ? ` · ${about(now.mono - station.since)}` : ""}`
    : ["tank", "deck", "dryer", "bin"].includes(station.kind) && !station.loaded ? words.empty.toLowerCase() : "";
  return (
    <li class="line">
      <span class="name">
        <Go to={`/station/${station.name}`}>{begins(station.title)}</Go>
        {stay && <span class="stay">{stay}</span>}
      </span>
      {point ? (
        <>
          <Bar point={point} value={v} alarm={gravest(point, frame.alarms)} label={`${point.title}: ${spoken(point, v, now, words)}`} />
          {wide && <Course point={point} courses={courses} />}
          <Figure point={point} beside="" short />
        </>
      ) : <span class="figure soft">–</span>}
    </li>
  );
}

export function Way() {
  const { frame, words } = useHere();
  const stations = frame.stations.filter((s) => s.kind !== "board");
  const points = stations.flatMap((s) => leading(s, frame.plan.points)?.name ?? []);
  const wide = useWide() && points.length > 0;
  const courses = useCourses(points, wide);
  return (
    <section class="way" aria-labelledby="way">
      <div class="over"><h2 id="way">{words.wayOfCoffee}</h2>{wide && <Hours axis={courses && courses.axis} />}</div>
      <ol class="lines">{stations.map((s) => <Line key={s.name} station={s} wide={wide} courses={courses} />)}</ol>
    </section>
  );
}
