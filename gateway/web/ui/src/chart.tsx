// The curve of one point, large: moved and pinched, read at a touch, held against another night or lot, with what is said in sentences.
import { useEffect, useRef, useState } from "preact/hooks";
import { useBook, type WayOfLots } from "./books";
import { useHere } from "./context";
import { fetchCurve } from "./curve";
import { forecastOf, type Forecast } from "./forecast";
import { handle, type Hand } from "./gesture";
import { draw } from "./plot";
import { asSite, atWall, begins, hour, unitBeside, withUnit } from "./say";
import type { Curve, Point } from "./types";

const spans = [2, 12, 72, 168, 720]; // hours
const shortest = spans[0]!;
const hourMs = 3600e3, dayMs = 86400e3;

/** What a course is held against: so many milliseconds earlier. */
interface Against { name: string; ms: number }

/** The stretch that a link asks for, as that of a lot's stay; null: none, or one that lasts. */
function askedFor(wall: number): { from: number; to: number } | null {
  const q = new URLSearchParams(location.search), from = Number(q.get("from")), to = Number(q.get("to"));
  return from > 0 && to > from && to < wall ? { from, to } : null;
}

/** The stretch drawn, in milliseconds of the wall clock. It follows now until somebody moves it. */
function useStretch(wall: number, forecast: Forecast | null) {
  const asked = useRef(askedFor(wall)).current;
  const [hours, setHours] = useState(asked ? (asked.to - asked.from) / hourMs : 12);
  const [end, setEnd] = useState(asked?.to ?? 0);
  const room = end || !forecast ? 0 : Math.max(0, Math.min(forecast.late - wall + hours * hourMs * 0.06, hours * hourMs * 0.7));
  const to = (end || wall) + room;
  const set = (from: number, until: number) => {
    setHours((until - from) / hourMs);
    setEnd(until > wall - 1000 ? 0 : until);
  };
  return { hours, from: to - room - hours * hourMs, to, follows: end === 0, set, choose: setHours,
    by: (share: number) => set(to - room - hours * hourMs + share * hours * hourMs, to - room + share * hours * hourMs),
    zoom: (times: number) => setHours(Math.max(0.05, Math.min(17520, hours * times))), back: () => setEnd(0) };
}

/** A course asked again when its stretch changes, and every so often while it follows now; not at all while on is 0. */
function useCourse(point: string, from: number, to: number, columns: number, every: number, on: number): { curve: Curve | null; failed: boolean } {
  const [curve, set] = useState<Curve | null>(null);
  const [failed, fail] = useState(false);
  const latest = useRef({ from, to });
  latest.current = { from, to };
  const key = every ? `${point} ${on} ${Math.round((to - from) / 60e3)}` : `${point} ${from} ${to}`;
  useEffect(() => {
    if (!on) { set(null); return; }
    const fetching = new AbortController();
    const look = () => fetchCurve(point, latest.current.from, latest.current.to, columns, fetching.signal)
      .then((c) => { set(c); fail(false); }, () => { if (!fetching.signal.aborted) fail(true); });
    void look();
    const t = every ? setInterval(look, every) : 0;
    return () => { clearInterval(t); fetching.abort(); };
  }, [key, columns, on, every]);
  return { curve: curve && curve.point === point ? curve : null, failed };
}

export function Chart({ point, large = false }: { point: Point; large?: boolean }) {
  const here = useHere();
  const { words, now, frame } = here;
  const station = frame.stations.find((s) => s.name === point.station);
  const forecast = station && point.leading ? forecastOf(frame, station) : null;
  const s = useStretch(now.wall, forecast);
  const [against, setAgainst] = useState("");
  const [uncorrected, setUncorrected] = useState(false);
  const [reading, read] = useState<number | null>(null);
  const box = useRef<HTMLDivElement>(null);
  const columns = Math.min(1200, box.current?.clientWidth ?? 600);
  const until = Math.min(s.to, now.wall);
  const { curve, failed } = useCourse(point.name, s.from, until, columns, s.follows ? 10e3 : 0, 1);
  const fitted = useRef(false);
  useEffect(() => { // a new board has little to show: its first minutes are drawn as a course, not as a speck
    if (fitted.current || !curve || !s.follows) return;
    fitted.current = true;
    if ((curve.time[0] ?? 0) * 1000 > now.wall - shortest * hourMs) s.choose(shortest);
  }, [curve]);
  const step = 300e3;
  const q = new URLSearchParams({ from: new Date(Math.floor((now.wall - 30 * dayMs) / step) * step).toISOString(), to: new Date(Math.ceil(now.wall / step) * step).toISOString() });
  const way = useBook<WayOfLots>(station ? `/api/way?${q.toString()}` : "", 30e3).got;
  const choices = useChoices(point, way);
  const shift = choices.find((c) => c.name === against)?.ms ?? 0;
  const other = useCourse(point.name, s.from - shift, s.to - shift, columns, s.follows ? 60e3 : 0, shift).curve;
  const view = useRef<[number, number]>([0, 0]);
  const plot = useRef<ReturnType<typeof draw> | null>(null);

  useEffect(() => {
    const at = box.current;
    if (!at || !curve || curve.time.length === 0) return;
    view.current = [s.from / 1000, s.to / 1000];
    const fix = point.corrected;
    plot.current = draw(at, {
      point, curve, from: s.from / 1000, to: s.to / 1000, now: now.wall / 1000,
      beside: other && shift ? { curve: other, shift: shift / 1000 } : null,
      raw: uncorrected && fix ? (v) => (v - fix.offset) / fix.slope + fix.zero : null,
      forecast, marks: (way?.marks ?? []).filter((m) => m.station === point.station), letters: words.letters,
      acts: (way?.acts ?? []).filter((a) => a.place?.split("/")[0] === point.station).map((a) => a.at),
      hour: (wall) => hour(wall, now), moment: (wall) => atWall(wall, now), site: (wall) => asSite(wall, now), zone: frame.plan.site.zone,
    });
    return () => { plot.current?.end(); plot.current = null; };
  }, [curve, other, shift, uncorrected, way, point, s.hours, s.follows]);

  // Fingers stay on the chart while it is drawn anew, once a second at least: what they do is taken in one place, and done by the newest drawing.
  const hand = useRef<() => Hand | null>(() => null);
  hand.current = () => plot.current && {
    view: () => view.current,
    valueAt: plot.current.valueAt,
    show: (from, to) => plot.current?.show(from, to),
    settle: (from, to) => s.set(from * 1000, to * 1000),
    read: (at) => read(at),
  };
  useEffect(() => (box.current ? handle(box.current, () => hand.current()) : undefined), []);

  const keys = (e: KeyboardEvent) => {
    if (e.target instanceof HTMLSelectElement || e.ctrlKey || e.metaKey || e.altKey) return;
    const does = { ArrowLeft: () => s.by(-0.25), ArrowRight: () => s.by(0.25), "+": () => s.zoom(0.5), "-": () => s.zoom(2), Home: () => s.back() }[e.key];
    if (does) { e.preventDefault(); does(); }
  };
  return (
    <figure class="chart" onKeyDown={keys}>
      <div class="spans" role="group" aria-label={words.stretch}>
        {spans.map((h) => <button key={h} aria-pressed={h === s.hours} onClick={() => s.choose(h)}>{words.spans[String(h)]}</button>)}
        <button onClick={() => s.by(-0.5)}>{words.earlier}</button>
        <button onClick={() => s.by(0.5)} disabled={s.follows}>{words.later}</button>
        {!s.follows && <button onClick={s.back}>{words.now}</button>}
        {large && <button onClick={() => s.zoom(0.5)}>{words.closer}</button>}
        {large && <button onClick={() => s.zoom(2)}>{words.wider}</button>}
      </div>
      {large && (
        <div class="spans against">
          <label>{words.against}
            <select value={against} onChange={(e) => setAgainst(e.currentTarget.value)}>
              <option value="">{words.nothing}</option>
              {choices.map((c) => <option key={c.name} value={c.name}>{c.name}</option>)}
            </select>
          </label>
          {point.corrected && <button aria-pressed={uncorrected} onClick={() => setUncorrected(!uncorrected)}>{words.uncorrected}</button>}
        </div>
      )}
      <div class={`box${large ? " large" : ""}`} ref={box} aria-hidden="true" />
      {large && <p class="readout">{reading && curve ? <b>{readAt(point, curve, reading, here)}</b> : <span class="soft">{words.touchToRead}</span>}</p>}
      <figcaption class="soft">{failed ? words.noHistory : curve ? says(point, curve, here) : words.waiting}
        {curve && !large && <span class="heard"> {(point.limits ?? []).map((l) => words.chartLimit(l.title, l.text)).join(" ")}</span>}
        {shift > 0 && ` ${other?.time.length ? words.dashedIs(against) : words.nothingThen}`}</figcaption>
    </figure>
  );
}

/** Other nights, and the lots that stood here before, each moved so that the loadings lie on each other. */
function useChoices(point: Point, way: WayOfLots | null): Against[] {
  const { words } = useHere();
  const list: Against[] = [{ name: words.nightBefore, ms: dayMs }, { name: words.twoNightsBefore, ms: 2 * dayMs }, { name: words.weekBefore, ms: 7 * dayMs }];
  const stays = (way?.stays ?? []).filter((x) => x.station === point.station);
  const last = stays[stays.length - 1];
  if (last) for (const x of stays.slice(0, -1).reverse().slice(0, 4)) list.push({ name: words.lotBefore(x.lot), ms: last.from - x.from });
  return list;
}

/** What stood at one moment: value and quality, or that nothing is known. */
function readAt(point: Point, c: Curve, at: number, { words, now }: ReturnType<typeof useHere>): string {
  const when = atWall(at * 1000, now);
  const bad = c.bad.find((b) => at >= b.from && at <= b.to);
  if (bad) return words.readBad(when, bad.cause);
  let near = -1;
  for (const [i, t] of c.time.entries()) if (near < 0 || Math.abs(t - at) < Math.abs(c.time[near]! - at)) near = i;
  if (near < 0 || Math.abs(c.time[near]! - at) > 3 * Math.max(c.step, 60)) return words.readNothing(when);
  const text = withUnit(String(+c.last[near]!.toFixed(2)), unitBeside(point.title, c.unit));
  return `${when}: ${point.title} ${c.uncertain[near] ? `≈ ${text}, ${words.uncertain}` : text}`;
}

/** The chart as sentences. The limits are drawn with their names; who hears the page hears them too. */
function says(point: Point, c: Curve, { words, now }: ReturnType<typeof useHere>): string {
  if (c.time.length === 0) return words.noReadings;
  const decimals = Math.max(0, ...c.last.slice(-50).map((v) => (String(v).split(".")[1] ?? "").length));
  const text = (v: number) => withUnit(v.toFixed(Math.min(2, decimals)), unitBeside(point.title, c.unit));
  const parts = [words.chartSays(begins(point.title), text(Math.min(...c.low)), text(Math.max(...c.high)), text(c.last[c.last.length - 1]!))];
  for (const b of c.bad.filter((x) => x.to - x.from >= 60).slice(-3)) {
    parts.push(words.chartGap(atWall(b.from * 1000, now), atWall(b.to * 1000, now), b.cause));
  }
  if (c.uncertain.some(Boolean)) parts.push(words.chartUncertain);
  return parts.join(" ");
}

