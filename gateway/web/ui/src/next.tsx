// The first page: what needs a person now, what comes next, the way of the coffee.
import { WalkCard, byWalk, together, walkOf } from "./alarm";
import { useBook } from "./books";
import { useHere } from "./context";
import { useWide } from "./course";
import { Lazy } from "./lazy";
import { begins, dueAt, length, list, moment } from "./say";
import { me } from "./session";
import { useSteady } from "./steady";
import { hidden, waits } from "./shapes";
import type { Alarm, Prompt } from "./types";
import { Go, Way } from "./way";

const order = { high: 0, medium: 1, low: 2 };

function urgency(a: Alarm): number {
  return waits(a) ? (a.active ? 2 : 1) : 0;
}

/** When a person must have acted. */
function due(a: Alarm): number {
  return (a.since ?? 0) + a.respondWithin;
}

/** Those that a person should see: what is abnormal and waits for an answer, what only waits, the rest; by priority, what is due soonest first. */
export function standing(alarms: readonly Alarm[]): Alarm[] {
  return alarms
    .filter((a) => !hidden(a) && a.state !== "normal")
    .sort((a, b) => urgency(b) - urgency(a) || order[a.priority] - order[b.priority] || due(a) - due(b));
}

/** Names this coming of the alarm. */
export function occurrenceOf(a: Alarm): string {
  return `${a.id} ${a.occurrence}`;
}

/** A quiet mill says so in one sentence, with what is silent; what people read is asked for below. It never says so without word from the mill. */
function Quiet({ prompts }: { prompts: readonly Prompt[] }) {
  const { frame, now, words, lost } = useHere();
  if (lost) return <p class="quiet">{words.cannotSay(length(lost))}</p>;
  const silent = frame.plan.points.filter((p) => p.station && !p.computed && !p.byHand && frame.values[p.name]?.quality === "bad");
  const places = [...new Set(silent.map((p) => frame.stations.find((s) => s.name === p.station)?.title ?? p.station))];
  const due = [...new Set(prompts.filter((p) => p.station && (p.due ?? 0) <= frame.now).map((p) => p.placeTitle))];
  const { drill, drillBy } = frame.roster;
  return (
    <p class="quiet">
      {due.length > 0 ? words.quietBut(list(due, words.and)) : words.quiet}
      {places.length > 0 && ` ${words.silentPoints(list(places.slice(0, 3), words.and), Math.max(0, places.length - 3))}`}
      <span class="soft"> {drill ? words.drill(moment(drill, now, words), drillBy ?? "") : words.noDrill}</span>
    </p>
  );
}

/** Where a person must go, in this order, when it is more than one place: read before any of it. */
function Walks({ walks }: { walks: readonly Alarm[][][] }) {
  const { frame, words } = useHere();
  const urgent = walks.map((w) => w[0]![0]!).filter((a) => urgency(a) === 2);
  const places = [...new Set(urgent.map((a) => frame.stations.find((s) => s.name === a.station)?.title ?? a.placeTitle).filter(Boolean))];
  return places.length < 2 ? null : <p class="walks">{words.walks(places.slice(0, 4), Math.max(0, places.length - 4))}</p>;
}

/** Between which moments it lies, and what it rests on. */
export function usePromptDetail({ early, late, detail }: Prompt): string {
  const { now, words } = useHere();
  const at = (mono: number) => (mono <= now.mono ? words.now : moment(mono, now, words));
  return [early && late ? words.between(at(early), at(late)) : "", detail].filter(Boolean).join(" · ");
}

/** What the board itself asks for without an hour is for the day: nobody gets up for it. */
function PromptLine({ prompt }: { prompt: Prompt }) {
  const { now, words } = useHere();
  const { due } = prompt, detail = usePromptDetail(prompt);
  const says = `${prompt.placeTitle ? `${begins(prompt.placeTitle)}: ` : ""}${prompt.say || prompt.title}`;
  return (
    <li class="prompt">
      <span class="hour">{due ? dueAt(due, now, words) : prompt.station ? words.now : words.byDay}</span>
      <span>
        {prompt.station ? <Go to={`/station/${prompt.station}`}>{says}</Go> : says}
        {detail && <span class="detail">{detail}</span>}
      </span>
    </li>
  );
}

/** Prompts by the hour at which somebody must act; what the board asks for without an hour waits for the day. */
export function byHour(prompts: readonly Prompt[], now: number): Prompt[] {
  const due = (p: Prompt) => (p.due || p.station ? Math.max(p.due ?? 0, now) : Infinity);
  return [...prompts].sort((a, b) => due(a) - due(b) || 0);
}

/** Whether an alarm of high priority says what to do at a station: a prompt without an hour would say something milder beside it. */
export function urgentAt(station: string, alarms: readonly Alarm[]): boolean {
  return station !== "" && alarms.some((a) => a.station === station && a.active && a.priority === "high" && !hidden(a));
}

/** What is asked afterwards, if anything is; its form comes only then. */
export function Afterwards() {
  const { frame } = useHere();
  const { got, again } = useBook<unknown[]>(me.others || me.may.includes("study") ? `/api/closing?${frame.alarms.length}` : "", 60e3);
  return got?.length ? <Lazy name="Closings" list={got} again={again} /> : null;
}

export function WhatNext() {
  const { frame, words } = useHere();
  // What is one trouble goes by the alarm that came first, so that it is the same when more of it comes.
  const [walks, box] = useSteady<Alarm[][], HTMLElement>(byWalk(together(standing(frame.alarms))), walkOf);
  const wide = useWide();
  const prompts = byHour(frame.prompts, frame.now).filter((p) => p.due || !urgentAt(p.station, frame.alarms));
  return (
    <main class={`next ${walks.length ? "alarmed" : "calm"}`}>
      <section class="needs" aria-label={words.needsYou} ref={box}>
        {walks.length === 0 && <Quiet prompts={prompts} />}
        <Walks walks={walks} />
        {walks.map((walk) => <WalkCard key={walkOf(walk)} walk={walk} />)}
      </section>
      <div class="coming">
        <section class="prompts" aria-labelledby="next">
          <h2 id="next">{words.whatNext}</h2>
          {prompts.length === 0
            ? <p class="soft">{words.nextQuiet}</p>
            : <ol>{prompts.map((p) => <PromptLine key={p.id} prompt={p} />)}</ol>}
        </section>
        <Afterwards />
      </div>
      <div class="floor">
        <Way />
        {wide && <Lazy name="LotsBeside" />}
      </div>
    </main>
  );
}

/** The sentence that is spoken when something new of high priority comes. */
export function newest(alarms: readonly Alarm[]): Alarm | undefined {
  const fresh = standing(alarms).filter((a) => a.priority === "high" && a.state === "unacknowledged");
  return fresh.reduce<Alarm | undefined>((last, a) => (last && (last.since ?? 0) >= (a.since ?? 0) ? last : a), undefined);
}

