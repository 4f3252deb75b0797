// What stands, kept up by the gateway's events. One event a second; a second without one is a second without word from the mill.
import { useEffect, useState } from "preact/hooks";
import { keepLast, last } from "./last";
import { meet } from "./session";
import { known } from "./words/tables";
import type { Frame } from "./types";

/** After so long without an event the page says so; twice the pause of a healthy stream would be 2 s, a phone's network hiccups 4. */
export const lostAfter = 5000;

/** A stream that the browser has given up, or that says nothing for so long, is opened anew. */
const reopenAfter = 15000;

/** What this device saw last is shown when the mill has said nothing for so long; kept anew every so often. */
const showLastAfter = 2500, keepEvery = 30e3;

export interface Live {
  frame: Frame | null;
  /** performance.now() at which the last event came; what is older than it ages from here. */
  arrived: number;
  /** Wall time of the device when the frame was kept, where it is one of an earlier visit; 0: it came from the mill. */
  kept: number;
}

const live: Live = { frame: null, arrived: performance.now(), kept: 0 };
const watchers = new Set<() => void>();
let source: EventSource | null = null;
let opened = 0;

/** Changes that came before the whole they belong to; null while the whole is there. */
let early: Frame[] | null = [];
/** The moment from which the stream tells changes. */
let begun = 0;

function merge(to: Frame, got: Frame): Frame {
  return { ...to, ...got, values: got.plan ? got.values : { ...to.values, ...got.values } };
}

function stands(frame: Frame): void {
  live.frame = frame;
  live.kept = 0;
  live.arrived = performance.now();
  if (live.arrived - keptAt > keepEvery) {
    keptAt = live.arrived;
    keepLast(frame);
  }
  tell();
}

function change(text: string): void {
  const got = JSON.parse(text) as Frame;
  if (early) early.push(got);
  else if (live.frame && got.seq === live.frame.seq + 1) stands(merge(live.frame, got));
  else if (!live.frame || got.seq > live.frame.seq) void whole(); // one was missed
}

let asking = false;

/** Fetches everything, packed, and adds what has changed since. */
async function whole(): Promise<void> {
  early ??= [];
  if (asking) return;
  asking = true;
  try {
    let frame = await overview();
    // Fetched before the stream began: what lies between is known to neither. Or another language was chosen meanwhile.
    while (frame && (frame.seq < begun || frame.plan.language !== language)) frame = await overview();
    if (!frame || !early) return;
    for (const c of early) if (c.seq > frame.seq) frame = merge(frame, c);
    early = null;
    stands(frame);
  } catch {
    // The stream is opened anew, and asks again.
  } finally {
    asking = false;
  }
}

async function overview(): Promise<Frame | null> {
  const answer = await fetch(`/api/overview?language=${language}`);
  return answer.ok ? ((await answer.json()) as Frame) : null;
}

let keptAt = -Infinity;

/** Without word from the mill: what was seen last, as old as it is. */
function recall(): void {
  const found = last();
  if (live.frame || !found) return;
  live.frame = found.frame;
  live.arrived = performance.now() - found.age;
  live.kept = Date.now() - found.age;
  tell();
}

function tell(): void {
  for (const w of watchers) w();
}

/** What stood when the page was sent came with it: as old as the first byte of it. */
function sent(): void {
  const data = document.getElementById("stands");
  if (!data?.textContent) return;
  live.frame = JSON.parse(data.textContent) as Frame;
  data.remove();
  live.arrived = (performance.getEntriesByType("navigation")[0] as PerformanceNavigationTiming | undefined)?.responseStart ?? 0;
  early = null;
}

function open(): void {
  source?.close();
  opened = performance.now();
  source = new EventSource(`/api/live?begin=changes&language=${language}${live.frame && !live.kept && !early ? `&since=${live.frame.seq}` : ""}`);
  source.addEventListener("error", () => void meet());
  source.addEventListener("begin", (e) => {
    const first = begun === 0;
    begun = Number((e as MessageEvent<string>).lastEventId);
    // After a break everything is asked for again: the gateway may be another one, with other numbers.
    if (!first || live.frame && (live.frame.seq !== begun || live.frame.plan.language !== language)) void whole();
  });
  source.addEventListener("changes", (e) => change((e as MessageEvent<string>).data));
}

/** The language in which the mill is heard. */
let language = known("");

/** From now on it is heard in this language: all that stands is asked for anew. What is there is shown until that comes. */
export function listen(to: string): void {
  if (known(to) === language) return;
  language = known(to);
  early = [];
  open();
}

/** Begins to listen, and tells every watcher once a second at least, so that ages go on. */
export function begin(first: string): void {
  language = known(first);
  sent();
  if (live.frame?.plan.language !== language) early = []; // what came with the page is in the site's language, and another one was chosen
  open();
  if (early) void whole();
  setTimeout(recall, showLastAfter);
  setInterval(() => {
    const now = performance.now();
    const silent = (live.kept > 0 || now - live.arrived > reopenAfter) && now - opened > reopenAfter;
    if (silent || source?.readyState === EventSource.CLOSED) open();
    if (now - live.arrived > 1500) tell();
  }, 1000);
  // A page that a browser keeps aside gives its connection back: there are six for all pages of a gateway.
  addEventListener("pagehide", () => {
    source?.close();
    if (live.frame && !live.kept) keepLast(live.frame);
  });
  addEventListener("pageshow", (e) => { if (e.persisted) open(); });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && performance.now() - live.arrived > lostAfter) open();
  });
}

/** The present state; the component is drawn anew at each event. */
export function useLive(): Live {
  const [, redraw] = useState(0);
  useEffect(() => {
    const w = () => redraw((n) => n + 1);
    watchers.add(w);
    return () => { watchers.delete(w); };
  }, []);
  return { ...live };
}
