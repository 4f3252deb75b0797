// One station: the answer first, then the curve, what is measured, what is computed, what people do here.
import type { ComponentType } from "preact";
import { useEffect, useMemo, useState } from "preact/hooks";
import { useAct } from "./acts";
import { WalkCard, byWalk, together, walkOf } from "./alarm";
import { useHere } from "./context";
import { Lazy } from "./lazy";
import { me } from "./session";
import { endOf, forecastOf } from "./forecast";
import { byHour, usePromptDetail, standing, urgentAt } from "./next";
import { atWall, begins, dueAt, list, moment, reason, sentence, spoken } from "./say";
import { Bar, gravest } from "./shapes";
import type { Point, Prompt, Station } from "./types";
import { kilograms, weight, weightUnit } from "./units";
import { Figure, Go, pointsOf } from "./way";
import { Who } from "./who";

/** A prompt of a probe that people read: which one is meant has to be said, and what it shows to be entered. */
const asksForReading = (p: Prompt) => p.id.startsWith("enter-reading@");

/** The chart comes with its library only where a chart is looked at: the first page stays light for a phone at night. */
export function LazyChart({ point, large = false }: { point: Point; large?: boolean }) {
  const { words } = useHere();
  const [Chart, set] = useState<ComponentType<{ point: Point; large?: boolean }> | null>(null);
  const [failed, setFailed] = useState(false);
  useEffect(() => { void import("./chart").then((m) => set(() => m.Chart), () => setFailed(true)); }, []);
  return Chart ? <Chart point={point} large={large} /> : <p class="soft">{failed ? words.noHistory : words.waiting}</p>;
}

function AnswerFirst({ prompt }: { prompt: Prompt }) {
  const { now, words } = useHere();
  const { due } = prompt, said = begins(prompt.say || prompt.title), detail = usePromptDetail(prompt);
  const says = asksForReading(prompt) ? `${prompt.placeTitle}: ${said.charAt(0).toLowerCase()}${said.slice(1)}` : said;
  return (
    <>
      <p class="answer">{due ? <><b>{begins(dueAt(due, now, words))}</b>: </> : null}{due ? says.charAt(0).toLowerCase() + says.slice(1) : says}</p>
      {detail && <p class="soft">{sentence(detail)}</p>}
    </>
  );
}

/** Without a prompt: what the forecast says of the end of the stay, or why it cannot say yet. */
function Foreseen({ station }: { station: Station }) {
  const { frame, now, words } = useHere();
  const end = forecastOf(frame, station);
  if (end) return <p class="answer">{words.forecastEnds(atWall(end.at, now), atWall(end.early, now), atWall(end.late, now))}</p>;
  const point = frame.plan.points.find((p) => p.name === endOf(station)), v = point && frame.values[point.name];
  return point && v?.quality === "bad" ? <p class="answer unsure">{sentence(`${words.forecast}: ${reason(v, now, words).replace(": ", ", ")}`)}</p> : null;
}

function PointLine({ point, chosen, choose }: { point: Point; chosen: boolean; choose: () => void }) {
  const { frame, now, words } = useHere();
  const v = frame.values[point.name];
  return (
    <li class="line">
      <span class="name"><button class="pick" aria-pressed={chosen} onClick={choose}>{begins(point.title)}</button></span>
      <Bar point={point} value={v} alarm={gravest(point, frame.alarms)} label={`${point.title}: ${spoken(point, v, now, words)}`} />
      <Figure point={point} beside={point.title} />
    </li>
  );
}

/** What cannot be computed for one and the same reason is one sentence, not a list of it. */
function Unsaid({ points }: { points: Point[] }) {
  const { frame, now, words } = useHere();
  const by = new Map<string, string[]>();
  for (const p of points) {
    const why = reason(frame.values[p.name]!, now, words);
    by.set(why, [...(by.get(why) ?? []), p.title]);
  }
  return <>{[...by].map(([why, titles]) => <p class="soft unsaid" key={why}>{begins(list(titles, words.and))}: {sentence(why).charAt(0).toLowerCase() + sentence(why).slice(1)}</p>)}</>;
}

function Load({ station, done }: { station: Station; done: () => void }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [lot, setLot] = useState("");
  const [typed, setTyped] = useState("");
  const [asking, ask] = useState(false);
  const send = async (name: string) => {
    ask(false);
    const kg = kilograms(Number(typed.replace(",", ".") || "0"));
    if (await act("/api/acts", { do: "load", station: station.name, lot, kg, by: name })) done();
  };
  if (asking) return <Who then={(n) => void send(n)} cancel={() => ask(false)} />;
  return (
    <form class="act" onSubmit={(e) => { e.preventDefault(); if (who) void send(who); else ask(true); }}>
      <label>{words.lotNumber}<input required maxLength={40} autocomplete="off" value={lot} onInput={(e) => setLot(e.currentTarget.value)} /></label>
      <label>{words.weight(weightUnit())}<input inputMode="decimal" pattern="[0-9]*([.,][0-9]+)?" autocomplete="off" value={typed} onInput={(e) => setTyped(e.currentTarget.value)} /></label>
      <button class="main" disabled={outcome.busy}>{outcome.busy ? words.writing : words.loadIt}</button>
      <button type="button" onClick={done}>{words.cancel}</button>
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </form>
  );
}

function Empty({ station, done }: { station: Station; done: () => void }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [asking, ask] = useState(false);
  const send = async (name: string) => {
    ask(false);
    if (await act("/api/acts", { do: "empty", station: station.name, by: name })) done();
  };
  if (asking) return <Who then={(n) => void send(n)} cancel={() => ask(false)} />;
  return (
    <div class="act">
      <button class="main" disabled={outcome.busy} onClick={() => (who ? void send(who) : ask(true))}>
        {outcome.busy ? words.writing : words.emptyIt(begins(station.title))}
      </button>
      <button onClick={done}>{words.cancel}</button>
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </div>
  );
}

/** What the choices of a hand check are in the book of lots; kinds without any write their words as a note. */
const felt: Record<string, Record<string, string>[]> = {
  tank: [{ gritty: "no" }, { gritty: "partly" }, { gritty: "yes" }],
  deck: [{ bite: "soft" }, { bite: "firm" }, { bite: "hard" }],
  dryer: [{ bite: "soft" }, { bite: "firm" }, { bite: "hard" }],
};

/** What the hand felt, in one tap of those that fit the kind; or a note in one's own words. */
function Note({ station, check, done, cancel }: { station: Station; check: boolean; done: () => void; cancel: () => void }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [text, setText] = useState("");
  const [asking, ask] = useState("");
  const choices = words.handChecks[station.kind] ?? words.handChecks["other"]!;
  const send = async (name: string, why: string) => {
    ask("");
    const found = check && station.loaded ? felt[station.kind]?.[choices.indexOf(why)] : undefined;
    const body = found ? { act: "check", station: station.name, by: name, ...found } : { do: "note", station: station.name, why, by: name };
    if (await act(found ? "/api/lots" : "/api/acts", body)) done();
  };
  const write = (why: string) => { if (who) void send(who, why); else ask(why); };
  if (asking) return <Who then={(n) => void send(n, asking)} cancel={() => ask("")} />;
  return (
    <form class="act" onSubmit={(e) => { e.preventDefault(); write(text); }}>
      {check && choices.map((c) => <button key={c} type="button" disabled={outcome.busy} onClick={() => write(c)}>{c.replace(/^[^:]*: /, "")}</button>)}
      {!check && <label>{words.noteText}<textarea required rows={3} maxLength={500} value={text} onInput={(e) => setText(e.currentTarget.value)} /></label>}
      {!check && <button class="main" disabled={outcome.busy}>{outcome.busy ? words.writing : words.writeNote}</button>}
      <button type="button" class="bare" onClick={cancel}>{words.cancel}</button>
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </form>
  );
}

/** What an instrument without a wire shows: a number, its unit beside the field; of a state its words. */
function Enter({ point, done, cancel }: { point: Point; done: () => void; cancel: () => void }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [text, setText] = useState("");
  const [asking, ask] = useState(false);
  const send = async (name: string) => {
    ask(false);
    if (await act("/api/acts", { do: "enter", point: point.name, value: `${text.replace(",", ".")} ${point.unit}`.trim(), by: name })) done();
  };
  if (asking) return <Who then={(n) => void send(n)} cancel={() => ask(false)} />;
  return (
    <form class="act" onSubmit={(e) => { e.preventDefault(); if (who) void send(who); else ask(true); }}>
      <label>{point.unit ? words.reads(begins(point.title), point.unit) : begins(point.title)}<input required maxLength={40} inputMode={point.unit ? "decimal" : "text"} autocomplete="off" value={text} onInput={(e) => setText(e.currentTarget.value)} /></label>
      <button class="main" disabled={outcome.busy}>{outcome.busy ? words.writing : words.enterIt}</button>
      <button type="button" onClick={cancel}>{words.cancel}</button>
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </form>
  );
}

/** What people read here, each in two taps. */
function Entries({ points }: { points: Point[] }) {
  const { words } = useHere();
  const [entering, begin] = useState<Point | null>(null);
  const [wrote, tell] = useState(false);
  const end = (done: boolean) => { begin(null); tell(done); };
  if (entering) return <Enter point={entering} done={() => end(true)} cancel={() => end(false)} />;
  return (
    <div class="act entries">
      {points.map((p) => <button key={p.name} onClick={() => begin(p)}>{words.enter(p.title)}</button>)}
      <p role="status">{wrote ? words.written1 : ""}</p>
    </div>
  );
}

/** Two taps: what, and yes. */
function Acts({ station, lots }: { station: Station; lots: boolean }) {
  const { words } = useHere();
  const [doing, begin] = useState<"" | "load" | "empty" | "check" | "note">("");
  const [wrote, tell] = useState(false);
  const set = (what: typeof doing) => { tell(false); begin(what); };
  const noted = () => { begin(""); tell(true); };
  if (doing === "check" || doing === "note") return <Note station={station} check={doing === "check"} done={noted} cancel={() => set("")} />;
  if (doing === "load") return <Load station={station} done={() => set("")} />;
  if (doing === "empty") return <Empty station={station} done={() => set("")} />;
  return (
    <div class="act">
      {lots && (station.loaded
        ? <button class="main" onClick={() => set("empty")}>{station.kind === "tank" ? words.washed : words.emptied}</button>
        : <button class="main" onClick={() => set("load")}>{words.load}</button>)}
      <div class="pair">
        <button onClick={() => set("check")}>{words.handCheck}</button>
        <button onClick={() => set("note")}>{words.note}</button>
      </div>
      <p role="status">{wrote ? words.written1 : ""}</p>
    </div>
  );
}

/** Points that only rules need: the ends of an interval stand with their forecast, and whether a lot stands there is said above. */
const forRules = /\/(loaded|empty|looks-loaded|looks-empty|.*-early|.*-late)$/;

/** Kinds on which a lot stays. */
const holdsLots = ["tank", "deck", "dryer", "bin", "roaster", "huller"];

export function StationPage({ name }: { name: string }) {
  const { frame, now, words } = useHere();
  const [chosen, choose] = useState("");
  const asked = useMemo(() => frame.prompts.some((p) => p.station === name && asksForReading(p)), [name]); // what is being typed stays where it is
  const station = frame.stations.find((s) => s.name === name);
  if (!station) return <main><p>{words.notFound}</p></main>;
  const points = pointsOf(name, frame.plan.points);
  const shown = points.find((p) => p.name === chosen) ?? points.find((p) => p.leading) ?? points[0];
  const alarms = standing(frame.alarms).filter((a) => a.station === name);
  const urgent = urgentAt(name, frame.alarms);
  const answer = byHour(frame.prompts, frame.now).find((p) => p.station === name && !(urgent && !p.due));
  const byHand = points.filter((p) => p.byHand);
  const entries = byHand.length > 0 && <Entries points={byHand} />;
  const kg = station.kg ? weight(station.kg) : "";
  const unsaid = (p: Point) => p.computed && frame.values[p.name]?.quality === "bad" && /^(cannot say|(aún )?no se puede decir)/.test(frame.values[p.name]?.cause ?? "");
  const group = (title: string, all: Point[]) => all.length > 0 && (
    <section>
      <h2>{title}</h2>
      <ul class="lines">{all.filter((p) => !unsaid(p)).map((p) => <PointLine key={p.name} point={p} chosen={p === shown} choose={() => choose(p.name)} />)}</ul>
      <Unsaid points={all.filter(unsaid)} />
    </section>
  );
  return (
    <main class="station">
      <p class="back"><Go to="/">← {words.back}</Go></p>
      <h1>{begins(station.title)}</h1>
      {holdsLots.includes(station.kind) && (
        <p class="soft">{station.lot && station.since ? words.loadedSince(station.lot, moment(station.since, now, words), kg) : words.notLoaded}</p>
      )}
      {byWalk(together(alarms)).map((walk) => <WalkCard key={walkOf(walk)} walk={walk} />)}
      {answer ? <AnswerFirst prompt={answer} /> : !urgent && <Foreseen station={station} />}
      {asked && entries}
      {shown && <section aria-label={shown.title}><h2>{begins(shown.title)}</h2><LazyChart key={shown.name} point={shown} />{shown.computed && <Lazy key={shown.name} name="Worked" point={shown.name} />}<p><Go to={`/point/${shown.name}`}>{words.wholePoint(begins(shown.title))}</Go></p></section>}
      <div class="side">
        {!asked && entries}
        <Acts station={station} lots={holdsLots.includes(station.kind)} />
        {group(words.measured, points.filter((p) => !p.computed))}
        {group(words.computed, points.filter((p) => p.computed && !forRules.test(p.name)))}
      </div>
      {(me.others || me.may.includes("study")) && <Lazy name="WhoWasHere" station={name} />}
    </main>
  );
}
