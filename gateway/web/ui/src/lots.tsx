// The way of the lots: a graphic timetable. A row is a station, in the order the coffee walks; time runs right; now is a line; a lot is a band
// that moves from row to row. Right of now stands the forecast, hatched, with its interval as a bar under the band.
import { useState } from "preact/hooks";
import { useBook, type Mark, type Stay, type WayOfLots } from "./books";
import { useHere } from "./context";
import { forecastOf, waitsOf, type Wait } from "./forecast";
import { joined } from "./marks";
import { room } from "./room";
import { atWall, begins, dayOf, hour, length, list, type Now } from "./say";
import type { Station } from "./types";
import { weight } from "./units";
import { Go } from "./way";

const day = 86400e3;
const spans = [1, 3, 7, 21]; // days

/** Kinds on which a lot stands. */
const holds = ["tank", "deck", "dryer", "bin", "huller", "roaster"];

interface Window { from: number; to: number; now: number; at: (wall: number) => number }

/** A window of so many days with now at four sevenths, moved by whole steps. */
function windowOf(wall: number, days: number, moved: number): Window {
  const from = wall - (days * day * 4) / 7 + moved * days * day * 0.5, to = from + days * day;
  return { from, to, now: wall, at: (t) => ((t - from) / (to - from)) * 100 };
}

const within = (x: number) => Math.max(0, Math.min(100, x));

/** Hours at which lines are drawn and written, by the site's clock. */
function useGrid(w: Window, days: number): { at: number; text: string; strong: boolean }[] {
  const { now } = useHere();
  const every = days <= 1 ? 3 : days <= 3 ? 6 : 24;
  const out = [];
  for (let t = Math.ceil(w.from / 3600e3) * 3600e3; t < w.to; t += 3600e3) {
    const h = parseInt(hour(t, now), 10);
    if (h % every !== 0) continue;
    out.push({ at: w.at(t), text: h === 0 ? dayOf(t, now, days > 7) : days <= 1 || days <= 3 && h === 12 ? hour(t, now) : "", strong: h === 0 });
  }
  return out;
}

function Hours({ grid, w }: { grid: ReturnType<typeof useGrid>; w: Window }) {
  const { now } = useHere();
  const x = w.at(w.now);
  const narrow = room() < 760, name = narrow ? 13 : room() < 1000 ? 8 : 5;
  const before = narrow ? 17 : room() < 1000 ? 13 : 7, after = room() < 1400 ? name * 0.8 : 3.4; // what the hour of now covers, and the name of a day
  const few = grid.filter((g) => g.text).length > (narrow ? 6 : 12) ? 2 : 1;
  return (
    <div class="ruler" aria-hidden="true">
      {grid.filter((g) => g.text).filter((g, i) => i % few === 0 && g.at > -1 && (g.at < x - before || g.at > x + after) && g.at < 100 - name).map((g) => <span class={g.strong ? "day" : ""} style={{ left: `${g.at}%` }}>{g.text}</span>)}
      {x > 0 && x < 100 && <b style={{ left: `${x}%` }}>{hour(w.now, now)}</b>}
    </div>
  );
}

function Band({ stay, station, w }: { stay: Stay; station: Station; w: Window }) {
  const { now, words } = useHere();
  const from = within(w.at(stay.from)), to = within(w.at(stay.to ?? w.now));
  if (to <= from && !(from > 0 && from < 100)) return null;
  const kg = stay.kg ? `, ${weight(stay.kg)}` : "";
  const name = stay.to
    ? words.bandWas(stay.lot, station.title, atWall(stay.from, now), atWall(stay.to, now))
    : words.bandIs(stay.lot, station.title, atWall(stay.from, now));
  const fits = to - from > (room() < 760 ? 10 : 3);
  return (
    <>
    {!fits && !stay.to && from > 4 && <span class="beside" style={{ left: `${from}%` }} aria-hidden="true">{stay.lot}</span>}
    <Go to={`/lot/${encodeURIComponent(stay.lot)}`} class={`band${stay.to ? "" : " lasts"}${w.at(stay.from) < 0 ? " before" : ""}`}
      style={{ left: `${from}%`, width: `${to - from}%` }} label={name + kg}>
      {fits && <span>{stay.lot}</span>}
    </Go>
    </>
  );
}

/** What is to come at a station: hatched, fading within the interval; without a forecast it goes on, and says nothing. */
function Ahead({ station, w }: { station: Station; w: Window }) {
  const { frame, words, now } = useHere();
  if (!station.loaded) return null;
  const end = forecastOf(frame, station);
  const from = within(w.at(w.now));
  if (from >= 100) return null;
  const last = end ? within(w.at(Math.max(end.at, w.now))) : 100;
  const early = end ? within(w.at(Math.max(end.early, w.now))) : 0, late = end ? within(w.at(end.late)) : 0;
  const says = end ? words.forecastEnds(atWall(end.at, now), atWall(end.early, now), atWall(end.late, now)) : words.forecastNone;
  return (
    <>
      <span class={`ahead${end ? "" : " open"}`} style={{ left: `${from}%`, width: `${last - from}%` }} role="img" aria-label={says} title={says} />
      {end && late > early && <span class="interval" style={{ left: `${early}%`, width: `${late - early}%` }} />}
    </>
  );
}

function AlarmMark({ mark, count, w }: { mark: Mark; count: number; w: Window }) {
  const { now, words } = useHere();
  const says = `${words.priorities[mark.priority]}: ${mark.title}, ${atWall(mark.at, now)}${count > 1 ? ` ${words.andMore(count - 1)}` : ""}`;
  return (
    <span class={`tick ${mark.priority}`} style={{ left: `${w.at(mark.at)}%` }} role="img" aria-label={says} title={says}>
      <svg viewBox="0 0 24 24" class={`mark ${mark.priority} filled`} aria-hidden="true">
        {mark.priority === "high" && <rect class="shape" x="2" y="2" width="20" height="20" />}
        {mark.priority === "medium" && <path class="shape" d="M12 0.8 L23.2 12 L12 23.2 L0.8 12 Z" />}
        {mark.priority === "low" && <circle class="shape" cx="12" cy="12" r="10" />}
        <text x="12" y="16.6" text-anchor="middle">{words.letters[mark.priority]}</text>
      </svg>
      {count > 1 && <i>{count}</i>}
    </span>
  );
}

function Row({ station, way, w }: { station: Station; way: WayOfLots; w: Window }) {
  const { now, words } = useHere();
  const seen = (t: number) => t >= w.from && t <= w.to;
  return (
    <li class="track">
      <Go to={`/station/${station.name}`} class="name">{begins(station.title)}</Go>
      <div class="lane">
        {way.stays.filter((s) => s.station === station.name).map((s) => <Band key={s.from} stay={s} station={station} w={w} />)}
        <Ahead station={station} w={w} />
        {way.acts.filter((a) => seen(a.at) && (a.place ?? "").split("/")[0] === station.name).map((a) => {
          const says = `${atWall(a.at, now)} ${[a.who, a.text].filter(Boolean).join(": ")}`;
          return <span class="deed" key={a.id} style={{ left: `${w.at(a.at)}%` }} role="img" aria-label={says} title={says} />;
        })}
        {joined(way.marks.filter((m) => m.station === station.name && seen(m.at)), (m) => w.at(m.at), 1.8)
          .map(({ mark, count }) => <AlarmMark key={mark.at} mark={mark} count={count} w={w} />)}
        {!station.loaded && !way.stays.some((s) => s.station === station.name && !s.to) && w.at(w.now) < 92 && w.at(w.now) > 0 &&
          <span class="free" style={{ left: `${w.at(w.now)}%` }}>{words.free}</span>}
      </div>
    </li>
  );
}

/** The thin lines by which a lot goes from one station to the next, and the dotted ones of those that wait: to the place and hour at which they can go on, without an end where nobody knows it. */
function Lines({ rows, way, waits, w }: { rows: Station[]; way: WayOfLots; waits: Wait[]; w: Window }) {
  const y = (name: string) => rows.findIndex((s) => s.name === name) + (room() < 760 ? 0.74 : 0.6);
  const curve = (x1: number, y1: number, x2: number, y2: number) => {
    const bend = Math.max(0.4, (x2 - x1) / 2);
    return `M${x1.toFixed(2)} ${y1} C${(x1 + bend).toFixed(2)} ${y1} ${(x2 - bend).toFixed(2)} ${y2} ${x2.toFixed(2)} ${y2}`;
  };
  const by = new Map<string, Stay[]>();
  for (const s of way.stays) by.set(s.lot, [...(by.get(s.lot) ?? []), s]);
  const links: string[] = [];
  for (const stays of by.values()) {
    stays.sort((a, b) => a.from - b.from);
    for (const [i, s] of stays.entries()) {
      const next = stays[i + 1];
      if (next && s.to && y(s.station) > 0 && y(next.station) > 0) links.push(curve(w.at(s.to), y(s.station), w.at(next.from), y(next.station)));
    }
  }
  return (
    <svg class="threads" viewBox={`0 0 100 ${rows.length}`} preserveAspectRatio="none" aria-hidden="true">
      {links.map((d) => <path d={d} />)}
      {waits.filter((x) => !x.to && w.at(x.ready) < 100).map((x) => <path class="waits" d={`M${Math.max(0, w.at(x.ready)).toFixed(2)} ${y(x.from.name)} L100 ${y(x.from.name)}`} />)}
      {waits.filter((x) => x.to && x.free).map((x) => <path class="waits" d={curve(w.at(x.ready), y(x.from.name), w.at(x.free), y(x.to!.name))} />)}
    </svg>
  );
}

/** Those who wait, in words: what a person must think about, before the drawing. */
export function Waits({ waits }: { waits: Wait[] }) {
  const { now, words, frame } = useHere();
  if (waits.length === 0) return <p class="soft">{words.nobodyWaits}</p>;
  const ready = (x: Wait) => (x.ready <= now.wall ? words.now : atWall(x.ready, now));
  return (
    <ul class="waiting">
      {waits.map((x) => {
        const places = list(frame.stations.filter((s) => x.kinds.includes(s.kind)).map((s) => s.title), words.or);
        return (
          <li key={x.lot}>
            {x.to && x.free ? words.waitsFor(x.lot, length(x.free - x.ready), x.to.title, ready(x), atWall(x.free, now))
              : words.waitsUnknown(x.lot, ready(x), places)}
          </li>
        );
      })}
    </ul>
  );
}

/** What was drawn last on this device: it stands until the answer for the present window comes. */
let drawn: WayOfLots | null = null;

/** The lots that stand now, as the live stream tells them: they are drawn before the record has answered, so that no drawing begins empty. */
function standingNow(stations: readonly Station[], now: Now): WayOfLots {
  const stays = stations.flatMap((s) => (s.lot && s.since ? [{ station: s.name, lot: s.lot, from: now.wall - (now.mono - s.since), who: "" }] : []));
  return { from: 0, to: 0, stays, marks: [], acts: [] };
}

/** The drawing, of so many days, with those who wait above it. */
function Timetable({ days, moved }: { days: number; moved: number }) {
  const { frame, now, words } = useHere();
  const w = windowOf(now.wall, days, moved);
  const grid = useGrid(w, days);
  // Asked in steps of five minutes, so that the path does not change with each second; and again when a lot moves.
  const step = 300e3, standing = frame.stations.map((s) => s.lot ?? "").join();
  const q = new URLSearchParams({ from: new Date(Math.floor(w.from / step) * step - day).toISOString(), to: new Date(Math.ceil(w.to / step) * step).toISOString(), at: standing });
  const { got, failed } = useBook<WayOfLots>(`/api/way?${q.toString()}`, 30e3);
  if (got) drawn = got;
  const way = drawn ?? standingNow(frame.stations, now);
  const rows = frame.stations.filter((s) => holds.includes(s.kind) || way.stays.some((x) => x.station === s.name));
  const waits = waitsOf(frame);
  return (
    <>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      <div class="timetable">
        <div class="sheet">
          <Hours grid={grid} w={w} />
          <div class="under" aria-hidden="true">
            {grid.map((g) => <span class={g.strong ? "day" : ""} style={{ left: `${g.at}%` }} />)}
            {w.at(w.now) > 0 && w.at(w.now) < 100 && <b style={{ left: `${w.at(w.now)}%` }} />}
          </div>
          <div class="over"><Lines rows={rows} way={way} waits={waits} w={w} /></div>
          <ol>{rows.map((s) => <Row key={s.name} station={s} way={way} w={w} />)}</ol>
        </div>
      </div>
    </>
  );
}

/** On a wide first page: who waits, and the drawing, without choices. */
export function LotsBeside() {
  const { frame, words } = useHere();
  return (
    <section class="lotspage" aria-labelledby="lots">
      <h2 id="lots"><Go to="/lots">{words.wayOfLots}</Go></h2>
      <Waits waits={waitsOf(frame)} />
      <Timetable days={7} moved={0} />
    </section>
  );
}

export function LotsPage() {
  const { frame, words } = useHere();
  const [days, setDays] = useState(room() < 760 ? 3 : 7);
  const [moved, move] = useState(0);
  const lots = new Set(frame.stations.filter((s) => s.lot).map((s) => s.lot)).size;
  return (
    <main class="lotspage">
      <div class="title">
        <h1>{words.wayOfLots}</h1>
        <p class="soft">{words.lotsStand(lots)}</p>
      </div>
      <Waits waits={waitsOf(frame)} />
      <div class="spans" role="group" aria-label={words.stretch}>
        {spans.map((s) => <button key={s} aria-pressed={s === days} onClick={() => setDays(s)}>{words.days(s)}</button>)}
        <button onClick={() => move(moved - 1)}>{words.earlier}</button>
        <button onClick={() => move(0)} aria-pressed={moved === 0}>{words.today}</button>
        <button onClick={() => move(moved + 1)}>{words.later}</button>
      </div>
      <Timetable days={days} moved={moved} />
      <p class="links"><a href="/book">{words.lotBook}</a></p>
      <p class="soft">{words.timetableKey}</p>
    </main>
  );
}
