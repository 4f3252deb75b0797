// The frame of every page: head, what is said when the mill is not heard, the page itself, the foot with what is counted and the choices.
import { render, type ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { keep, kept } from "./acts";
import { speak } from "./books";
import { title } from "./alarm";
import { HereContext, useHere, type Here } from "./context";
import { AlarmsPage, counted } from "./lists";
import { useSentence } from "./links";
import { Lazy } from "./lazy";
import { begin, listen, lostAfter, useLive, type Live } from "./live";
import { newest, standing, WhatNext } from "./next";
import { begins, hour, length, list, nowOf, zoneOf } from "./say";
import { waits } from "./shapes";
import { StationPage } from "./station";
import type { Alarm, Frame } from "./types";
import { choose, inUnits, type Units } from "./units";
import { Go } from "./way";
import { followWidth } from "./room";
import { me, meet } from "./session";
import { Who } from "./who";
import type { Words } from "./words/en";
import { fetchWords, firstLanguage, languages, wordsOf } from "./words/tables";

function usePath(): [string, (path: string) => void] {
  const [path, set] = useState(location.pathname);
  useEffect(() => {
    const back = () => set(location.pathname);
    addEventListener("popstate", back);
    return () => removeEventListener("popstate", back);
  }, []);
  const go = (to: string) => {
    history.pushState(null, "", to);
    set(location.pathname);
    scrollTo(0, 0);
  };
  // Who goes by keyboard or ear is taken to the new page, not left on a link that is gone.
  const first = useRef(true);
  useEffect(() => {
    if (first.current) {
      first.current = false;
      return;
    }
    const page = document.querySelector("main");
    page?.setAttribute("tabindex", "-1");
    page?.focus({ preventScroll: true });
  }, [path]);
  return [path, go];
}

/** A choice kept on this device. */
function useKept(key: string, first: string): [string, (value: string) => void] {
  const [value, set] = useState(kept(key) || first);
  return [value, (v) => { set(v); keep(key, v); }];
}

function Page({ path }: { path: string }) {
  const { words } = useHere();
  const station = /^\/station\/([a-z0-9-]+)$/.exec(path);
  if (station) return <StationPage key={station[1]} name={station[1]!} />;
  const lot = /^\/lot\/([^/]+)$/.exec(path);
  if (lot) return <Lazy key={path} name="LotPage" lot={decodeURIComponent(lot[1]!)} />;
  const point = /^\/point\/([a-z0-9/-]+)$/.exec(path);
  if (point) return <Lazy key={path} name="PointPage" point={point[1]!} />;
  switch (path) {
    case "/": return <WhatNext />;
    case "/lots": return <Lazy key={path} name="LotsPage" />;
    case "/logbook": return <Lazy key={path} name="LogbookPage" />;
    case "/register": return <Lazy key={path} name="RegisterPage" />;
    case "/rates": return <Lazy key={path} name="RatesPage" />;
    case "/season": return <Lazy key={path} name="SeasonPage" />;
    case "/roster": return <Lazy key={path} name="RosterPage" />;
    case "/probes": return <Lazy key={path} name="ProbesPage" />;
    case "/rules": return <Lazy key={path} name="RulesPage" />;
    case "/more": return <Lazy key={path} name="MorePage" />;
    case "/alarms": return <AlarmsPage />;
    case "/links": return <Lazy key={path} name="LinksPage" />;
    case "/cautions": return <Lazy key={path} name="CautionsPage" />;
  }
  return <main><p>{words.notFound}</p><p><Go to="/">{words.whatNext}</Go></p></main>;
}

function Head({ path, children }: { path: string; children: ComponentChildren }) {
  const { frame, now, words } = useHere();
  const { onWatch } = frame.roster;
  const clock = now.set ? hour(now.wall, now) : words.clockUnset;
  const Site = path === "/" ? "h1" : "p"; // other pages have a heading of their own
  return (
    <header>
      <div class="head">
      <Site class="site"><Go to="/">{begins(frame.plan.site.title || frame.plan.site.name)}</Go></Site>
      <Pages class="above" />
      <p class="soft">{clock} · {onWatch.length ? words.onWatch(list(onWatch, words.and)) : words.nobodyOnWatch}</p>
      </div>
      {children}
    </header>
  );
}

function Pages(props: { class: string }) {
  const { frame, words } = useHere();
  const open = standing(frame.alarms).length;
  return (
    <nav class={`pages ${props.class}`} aria-label={words.more}>
      <Go to="/">{words.whatNext}</Go>
      <Go to="/lots">{words.wayOfLots}</Go>
      <Go to="/alarms">{words.alarms}{open ? ` ${open}` : ""}</Go>
      <Go to="/logbook">{words.logbook}</Go>
      <Go to="/roster">{words.roster}</Go>
      <Go to="/more">{words.more}</Go>
    </nav>
  );
}

interface Choices { language: string; setLanguage: (l: string) => void; units: string; setUnits: (u: string) => void; heldFor: number; hold: () => void }

function Foot({ language, setLanguage, units, setUnits, heldFor, hold }: Choices) {
  const { frame, now, words, who, setWho } = useHere();
  const say = useSentence();
  const [light, setLight] = useKept("light", "auto");
  const [size, setSize] = useKept("size", "near");
  const [asking, ask] = useState(false);
  useEffect(() => {
    document.documentElement.className = [light === "auto" ? "" : light, size === "wall" ? "wall" : ""].join(" ").trim();
    dispatchEvent(new Event("resize")); // there is room for more or less now
  }, [light, size]);
  const watched = frame.prompts.some((p) => p.id.startsWith("nobody-outside-watches")); // said there
  const troubles = frame.links.filter((l) => !l.set && l.kind === "watcher" && !watched || l.set && !l.works || l.waiting > 0 && l.kind !== "broker");
  const here = frame.plan.people.find((p) => p.name === who);
  const nextLight = { auto: "day", day: "night", night: "auto" }[light] ?? "auto";
  const nextUnits = { site: "metric", metric: "us", us: "site" }[units] ?? "site";
  const other = language === "en" ? "es" : "en";
  return (
    <footer class="foot">
      <p><Go to="/alarms">{counts(frame.alarms, words)}</Go></p>
      <p>{troubles.length ? troubles.map(say).join(" ") : words.linksWell}</p>
      <p class="soft">{words.timesIn(zoneOf(now))} {words.aid}</p>
      <Pages class="below" />
      <div class="choices">
        <button onClick={hold} aria-pressed={heldFor > 0}>{heldFor > 0 ? words.goOn : words.hold}</button>
        <button onClick={() => setLight(nextLight)}>{words.light[light as keyof Words["light"]]}</button>
        <button onClick={() => setSize(size === "wall" ? "near" : "wall")}>{words.size[size as keyof Words["size"]]}</button>
        <button onClick={() => setUnits(nextUnits)}>{words.units[units as Units] ?? words.units.site}</button>
        <button lang={other} onClick={() => setLanguage(other)}>{languages[other]}</button>
        {me.others && <button onClick={() => ask(!asking)} aria-expanded={asking}>{here ? words.youAre(begins(here.title)) : words.youAreNobody}</button>}
      </div>
      {!me.others && <Lazy name="Session" />}
      {asking && <Who then={() => ask(false)} cancel={() => ask(false)} />}
      {who && asking && <button class="bare" onClick={() => { setWho(""); ask(false); }}>{words.youAreNobody}</button>}
    </footer>
  );
}

/** How many alarms are on lists of their own, as a sentence: nothing is hidden from the count. */
function counts(alarms: readonly Alarm[], words: Words): string {
  const [shelved, suppressed, out, unseen] = counted(alarms);
  const says = [
    shelved && words.countShelved(shelved), suppressed && words.countSuppressed(suppressed), out && words.countOut(out),
    unseen && words.countUnseen(unseen),
  ].filter(Boolean);
  return says.length ? says.join(" · ") : words.countNone;
}

/** Speaks a new alarm of high priority to those who hear the page, once. */
function Spoken() {
  const { frame } = useHere();
  const a = newest(frame.alarms);
  return <p class="heard" role="alert">{a ? `${title(a)}. ${a.action}` : ""}</p>;
}

/** While held, numbers and stations stand still; alarms and the roster go on. */
function useHold(frame: Frame | null): [Frame | null, number, () => void] {
  const still = useRef<Frame | null>(null);
  const [since, set] = useState(0);
  const hold = () => {
    still.current = since ? null : frame;
    set(since ? 0 : performance.now());
  };
  if (!since || !frame || !still.current) return [frame, 0, hold];
  const { values, stations, prompts } = still.current;
  return [{ ...frame, values, stations, prompts }, Math.max(1, performance.now() - since), hold];
}

function Waiting({ since }: { since: number }) {
  const words = wordsOf(firstLanguage());
  return <main><p class="quiet" role="status">{since > lostAfter ? words.waitingLong(length(since)) : words.waiting}</p></main>;
}

function App() {
  const live: Live = useLive();
  const [path, go] = usePath();
  const [chosen, setLanguage] = useKept("language", "");
  const [who, setWho] = useKept("who", "");
  const [units, setUnits] = useKept("units", "site");
  choose(units as Units);
  const language = chosen || live.frame?.plan.site.language || "en";
  const [, learnt] = useState(0);
  speak(language);
  useEffect(() => {
    if (chosen) document.cookie = `language=${chosen}; path=/; max-age=31536000; samesite=strict`; // the gateway sends the next page in it
    listen(language);
    void fetchWords(language).then(() => learnt((n) => n + 1), () => undefined);
  }, [language]);
  const [frame, heldFor, hold] = useHold(live.frame && inUnits(live.frame));
  const since = performance.now() - live.arrived;
  const words = wordsOf(language);
  const open = frame ? standing(frame.alarms).filter(waits) : [];
  useEffect(() => { document.documentElement.lang = words.language === languages.es ? "es" : "en"; }, [words]);
  const name = frame ? begins(frame.plan.site.title || frame.plan.site.name) : "Millwarden";
  const heading = open[0] ? `(${open.length}) ${title(open[0])} – ${name}` : name;
  useEffect(() => { document.title = heading; }, [heading]);
  if (!frame) return <Waiting since={since} />;
  const lost = since > lostAfter ? since : 0;
  const here: Here = { frame, now: nowOf(frame, since, language), words, lost, who: me.others ? known(frame, who) : me.name, setWho, go };
  return (
    <HereContext.Provider value={here}>
      <Head path={path}>
        {frame.plan.demo && <p class="demo">{frame.plan.demo}{frame.plan.speed > 1 ? ` ${words.speed(frame.plan.speed)}` : ""}</p>}
        {frame.stopping && <p class="lost" role="alert">{words.stopping}</p>}
        {lost > 0 && <p class="lost">{live.kept ? words.asOf(atDevice(live.kept, language), length(lost)) : words.lost(length(lost))}</p>}
        {heldFor > 0 && <p class="lost">{words.holding(length(heldFor))}</p>}
      </Head>
      <p class="heard" role="status">{lost > 0 ? words.lostHeard : heldFor > 0 ? words.heldHeard : ""}</p>
      <Spoken />
      <Page path={path} />
      <Foot language={language} setLanguage={setLanguage} units={units} setUnits={setUnits} heldFor={heldFor} hold={hold} />
    </HereContext.Provider>
  );
}

/** A moment by the device's own clock, with its day: it may be days ago. */
function atDevice(at: number, language: string): string {
  return new Intl.DateTimeFormat(language, { weekday: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(at);
}

/** The name kept on this device, if the rules file still knows it. */
function known(frame: Frame, who: string): string {
  return frame.plan.people.some((p) => p.name === who) ? who : "";
}

/** Begins, once there are words. */
function start(): void {
  begin(firstLanguage());
  followWidth();
  // Without TLS a browser keeps no page: then it opens only while the mill can be reached.
  // It is kept once the first view is there: on a slow link the two would take the line from each other.
  if ("serviceWorker" in navigator) setTimeout(() => { void navigator.serviceWorker.register("/sw.js").catch(() => undefined); }, 8000);
  const root = document.getElementById("page")!;
  render(<App />, root);
  void meet().then(() => render(<App />, root));
}

// Without a network the other language may have been kept.
void fetchWords(firstLanguage()).catch(() => fetchWords("en")).then(start);
