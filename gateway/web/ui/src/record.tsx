// The logbook: what happened and who did what, newest first, to be searched.
import { useState } from "preact/hooks";
import { ask, useBook, type Line } from "./books";
import { useHere } from "./context";
import { alarmNamed, plainly } from "./names";
import { atWall, begins, hour, longDay, sentence } from "./say";
import { Go } from "./way";

const kinds = ["", "transition", "act", "message", "receipt", "lot", "note", "calibration", "roster", "rules", "clock", "start", "fault"];

export function useLineText(): (l: Line) => string {
  const { frame, words } = useHere();
  return (l) => {
    const parts: string[] = [];
    const text = l.text && !(l.kind === "note" && l.who) ? plainly(l.text, frame, words) : l.text ?? "";
    const state = l.state ? words.states[l.state] ?? l.state : "";
    const said = state && text.split(/[:;]/)[0]!.toLowerCase().includes(state.split(",")[0]!); // "acknowledged by Ana" says it
    if (l.alarm) parts.push(alarmNamed(l.alarm, l.title ?? "", frame) + (state && !said ? `, ${state}` : ""));
    if (text) parts.push(text);
    if (l.why && !["try", "accepted"].includes(l.why)) parts.push(l.why);
    return parts.map(sentence).join(" ");
  };
}

/** What people do at a station, and how many of the last of it are shown. A call that reached somebody is not it. */
const done = "act,lot,note,calibration", shown = 6;

/** Who was at a station last, and did what. */
export function WhoWasHere({ station }: { station: string }) {
  const { now, words } = useHere();
  const text = useLineText();
  const { got } = useBook<Line[]>(`/api/logbook?place=${station}&kind=${done}&limit=${shown}`, 30e3);
  if (!got) return null;
  const lines = got.filter((l) => l.who);
  return (
    <section class="here" aria-labelledby="here">
      <h2 id="here">{words.whoWasHere}</h2>
      {lines.length === 0 && <p class="soft">{words.nobodyWasHere}</p>}
      <ul class="plainlist">{lines.map((l) => <li class="row" key={l.id}><p>{l.set ? atWall(l.at, now) : "?"} · {l.who}</p><span class="detail">{text(l)}</span></li>)}</ul>
    </section>
  );
}

/** Lines under the day on which they were written. */
export function Lines({ lines }: { lines: Line[] }) {
  const { frame, now, words } = useHere();
  const text = useLineText();
  let before = "";
  return (
    <div role="log" aria-label={words.logbook}><ol class="lines record">
      {lines.map((l) => {
        const day = longDay(l.at, now);
        const head = day !== before ? <h2>{day}</h2> : null;
        before = day;
        const station = frame.stations.find((s) => s.name === (l.place ?? "").split("/")[0]);
        return (
          <li key={l.id}>
            {head}
            <div class="entry">
              <span class="hour">{l.set ? hour(l.at, now) : "?"}</span>
              <span>
                {text(l)}
                <span class="detail">
                  {[words.entryKinds[l.kind] ?? l.kind, l.who].filter(Boolean).join(" · ")}
                  {station && <> · <Go to={`/station/${station.name}`}>{begins(station.title)}</Go></>}
                  {l.lot && <> · <Go to={`/lot/${encodeURIComponent(l.lot)}`}>{words.lot} {l.lot}</Go></>}
                </span>
              </span>
            </div>
          </li>
        );
      })}
    </ol></div>
  );
}

export function LogbookPage() {
  const { words } = useHere();
  const [typed, type] = useState("");
  const [sought, seek] = useState("");
  const [kind, setKind] = useState("");
  const [older, setOlder] = useState<Line[]>([]);
  const q = new URLSearchParams();
  if (sought) q.set("words", sought);
  if (kind) q.set("kind", kind);
  const { got, failed } = useBook<Line[]>(`/api/logbook?${q.toString()}`, older.length ? 0 : 10e3);
  const lines = [...(got ?? []), ...older.filter((l) => !got?.some((g) => g.id === l.id))];
  const [ended, end] = useState(false);
  const choose = (next: () => void) => { setOlder([]); end(false); next(); };
  const more = async () => {
    const last = lines[lines.length - 1];
    if (!last) return;
    q.set("before", String(last.id));
    const found = await ask<Line[]>(`/api/logbook?${q.toString()}`).catch(() => [] as Line[]);
    if (found.length === 0) end(true);
    setOlder([...older, ...found]);
  };
  return (
    <main class="lists logbookpage">
      <h1>{words.logbook}</h1>
      <form class="search" role="search" onSubmit={(e) => { e.preventDefault(); choose(() => seek(typed)); }}>
        <label>{words.searchFor}<input type="search" maxLength={100} value={typed} onInput={(e) => type(e.currentTarget.value)} /></label>
        <label>{words.kindOfLine}
          <select value={kind} onChange={(e) => { const k = e.currentTarget.value; choose(() => setKind(k)); }}>
            {kinds.map((k) => <option key={k} value={k}>{k ? words.entryKinds[k] ?? k : words.all}</option>)}
          </select>
        </label>
        <button>{words.search}</button>
      </form>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {got && lines.length === 0 && <p>{words.nothingFound}</p>}
      <Lines lines={lines} />
      {lines.length > 0 && !ended && <button class="wide" onClick={() => void more()}>{words.older}</button>}
    </main>
  );
}
