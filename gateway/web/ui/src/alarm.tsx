// One alarm: place and fault as a sentence, the fact, what to do, one button, who was called and who is next.
import { useState } from "preact/hooks";
import { useAct } from "./acts";
import { useBook, type Line } from "./books";
import { useHere } from "./context";
import { plainly } from "./names";
import { begins, dated, length, list, moment, number, sentence, unitBeside, withUnit } from "./say";
import { Mark, waits } from "./shapes";
import type { Alarm, Call } from "./types";
import { Who } from "./who";

export function title(a: Alarm): string {
  return a.placeTitle && !a.title.toLowerCase().startsWith(a.placeTitle.toLowerCase())
    ? `${begins(a.placeTitle)}: ${a.title}` : begins(a.title);
}

/** Values, limits and since when; and which lot stands there, unless that was said above. */
function useFact(a: Alarm, withLot = true): string {
  const { frame, now, words } = useHere();
  const parts = a.values.map((v) => {
    // How long nothing has been read goes on; what stood when the alarm came would be read as of now.
    const silent = frame.values[v.point], age = v.title.endsWith(words.notReadFor) && a.active && silent?.quality === "bad" && silent.known;
    const text = `${v.title} ${age ? length(now.mono - age) : withUnit(number(v, words), unitBeside(v.title, v.unit))}`;
    return v.limit ? `${text}, ${words.limit} ${v.limit}` : text;
  });
  if (a.since) parts.push(`${words.since} ${moment(a.since, now, words)}`);
  const station = frame.stations.find((s) => s.name === a.station);
  const stay = withLot && station?.lot && station.since ? ` ${words.lotIn(length(now.mono - station.since), station.lot)}` : "";
  return parts.length ? `${sentence(parts.join(", "))}${stay}` : stay;
}

/** Each person once: when and how she was called last, and how often. */
function useCalled(calls: readonly Call[]): string[] {
  const { now, words } = useHere();
  const by = new Map<string, Call[]>();
  for (const c of calls) by.set(c.person, [...(by.get(c.person) ?? []), c]);
  return [...by].map(([person, all]) => {
    const last = all[all.length - 1]!;
    const at = moment(last.at, now, words), channel = words.channels[last.channel] ?? last.channel;
    if (last.fault) return words.notReached(person, at, channel, last.fault);
    return all.length > 1 ? words.wasCalledOften(person, all.length, at, channel) : words.wasCalled(person, at, channel);
  });
}

/** Who was called for these alarms, for how long nobody has answered, and who is next. */
function Calls({ alarms }: { alarms: readonly Alarm[] }) {
  const { now, words } = useHere();
  const calls = alarms.flatMap((a) => a.calls).sort((a, b) => a.at - b.at);
  // Whoever is called soon for one trouble of a walk is not named again for the next.
  const coming = alarms.flatMap((a) => a.next).sort((a, b) => a.at - b.at).filter((c, i, all) => all.findIndex((x) => x.person === c.person) === i);
  const made = useCalled(calls);
  if (!alarms.some(waits)) return null;
  const times = [...new Set(coming.map((c) => moment(c.at, now, words)))];
  const next = times.map((at) => {
    const names = [...new Set(coming.filter((c) => moment(c.at, now, words) === at).map((c) => c.person))];
    return words.areCalled(list(names, words.and), names.length > 1, at);
  });
  const first = calls[0];
  const quietFor = first ? now.mono - first.at : 0;
  const unanswered = quietFor >= 60e3 ? [words.nobodyAnswered(length(quietFor))] : [];
  const says = [...made, ...unanswered, ...next];
  return says.length ? <p class="soft">{says.join(" ")}</p> : null;
}

/** The button that acknowledges exactly the occurrences that stood when it was pressed. It asks once who is here. */
function Answer({ alarm, also }: { alarm: Alarm; also: readonly Alarm[] }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [pressed, press] = useState<readonly Alarm[]>([]);
  const answer = (name: string, alarms: readonly Alarm[]) => {
    press([]);
    void (async () => {
      for (const a of alarms) if (!await act("/api/acknowledge", { alarm: a.id, occurrence: a.occurrence, by: name })) return;
    })();
  };
  if (pressed.length > 0) return <Who then={(name) => answer(name, pressed)} cancel={() => press([])} />;
  return (
    <>
      <button class={alarm.active ? "main" : ""} disabled={outcome.busy} onClick={() => (who ? answer(who, [alarm, ...also]) : press([alarm, ...also]))}>
        {outcome.busy ? words.writing : alarm.active ? words.onIt : words.seen}
      </button>
      {outcome.failed && <p role="alert" class="plain">{outcome.says}</p>}
    </>
  );
}

function Reset({ alarm }: { alarm: Alarm }) {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [asking, ask] = useState(false);
  const reset = (name: string) => {
    ask(false);
    void act("/api/acts", { do: "reset", alarm: alarm.id, by: name });
  };
  if (asking) return <Who then={reset} cancel={() => ask(false)} />;
  return (
    <>
      <button disabled={outcome.busy} onClick={() => (who ? reset(who) : ask(true))}>{words.reset}</button>
      {outcome.failed && <p role="alert" class="plain">{outcome.says}</p>}
    </>
  );
}

/** In which state it is, unless the button says so: who is on it, that it is back to normal, that it is held. */
function State({ alarm }: { alarm: Alarm }) {
  const { now, words } = useHere();
  const says: string[] = [];
  if (alarm.state !== "unacknowledged" && !(alarm.state === "acknowledged" && alarm.acknowledgedBy)) {
    says.push(sentence(words.states[alarm.state] ?? alarm.state));
  }
  if (!waits(alarm) && alarm.acknowledgedBy && alarm.acknowledgedAt) {
    says.push(words.isOnIt(alarm.acknowledgedBy, moment(alarm.acknowledgedAt, now, words)));
  }
  if (alarm.held) says.push(sentence(words.heldBecause));
  return says.length ? <p class="fact">{says.join(" ")}</p> : null;
}

/** The last moment at which the action still helps. */
function useBy(a: Alarm): string {
  const { now, words } = useHere();
  if (!a.since || !a.respondWithin || !a.active) return "";
  const by = a.since + a.respondWithin;
  return (by > now.mono ? words.actBy : words.actWasDue)(moment(by, now, words));
}

/**
 * Alarms that are one trouble to a person: the same fault, state and priority at points of one station. A stick that falls silent is one. What is back to
 * normal and only waits for somebody's word is one at all stations: after a flood it takes a line, not a page.
 */
export function together(alarms: readonly Alarm[]): Alarm[][] {
  const by = new Map<string, Alarm[]>();
  for (const a of alarms) {
    const key = a.station && waits(a) && !a.active ? [a.title, a.priority, a.state].join("|") : a.station && a.place !== a.station ? [a.station, a.title, a.priority, a.state, a.active].join("|") : `${a.id} ${a.occurrence}`;
    by.set(key, [...(by.get(key) ?? []), a]);
  }
  return [...by.values()];
}

/**
 * Troubles that need one walk: those of one station that are abnormal and wait for an answer, the gravest first. One card, one button: whoever goes to the
 * dryer goes for all that is wrong with it.
 */
export function byWalk(troubles: readonly Alarm[][]): Alarm[][][] {
  const by = new Map<string, Alarm[][]>();
  for (const t of troubles) by.set(walkOf([t]), [...(by.get(walkOf([t])) ?? []), t]);
  return [...by.values()];
}

/** Names a walk; the name stays when more goes wrong at its station, so that its button does not move away under a finger. */
export function walkOf(walk: readonly Alarm[][]): string {
  const a = walk[0]![0]!;
  return a.station && a.active && waits(a) ? a.station : `${a.id} ${a.occurrence}`;
}

/** What several alarms that are one trouble are about: "humidity, moisture and temperature". Those count that one at the same probe keeps quiet. */
function useAbout(alarm: Alarm, also: readonly Alarm[]): string {
  const { frame, words } = useHere();
  const quiet = frame.alarms.filter((a) => a.state === "suppressed by design" && a.active && a.place !== a.station && a.station === alarm.station && a.title === alarm.title);
  if (also.length + quiet.length === 0) return "";
  return list([alarm, ...also, ...quiet].map((a) => frame.plan.points.find((p) => p.name === a.place)?.title ?? a.placeTitle).sort(), words.and);
}

/** What it was the last times, as people said afterwards. */
function Before({ alarm }: { alarm: Alarm }) {
  const { words, now } = useHere();
  const { got } = useBook<Line[]>(`/api/logbook?kind=note&limit=3&alarm=${encodeURIComponent(alarm.id)}`);
  return <>{got?.map((l) => <p key={l.id}>{words.before(dated(l.at, now), l.who ?? "", l.text)}</p>)}</>;
}

/** A further trouble of the same walk: what it is, the fact, what to do; the button above answers for it too. */
function Further({ trouble: [alarm, ...also] }: { trouble: [Alarm, ...Alarm[]] }) {
  const { words } = useHere();
  const about = useAbout(alarm, also), fact = useFact(alarm, false), by = useBy(alarm);
  return (
    <li class={alarm.priority}>
      <h3><Mark alarm={alarm} words={words} /><span>{begins(alarm.title)}</span></h3>
      <p>{about && `${sentence(about)} `}{fact}</p>
      {alarm.held && <p>{sentence(words.heldBecause)}</p>}
      {alarm.caution && <p><b>{words.caution}</b> {alarm.caution}</p>}
      <p class="todo">{alarm.action}{by && <> <span class="by">{by}</span></>}</p>
      <Why alarm={alarm} />
    </li>
  );
}

function Why({ alarm }: { alarm: Alarm }) {
  const { frame, words } = useHere();
  const [opened, open] = useState(false);
  return (
    <details onToggle={(e) => open(e.currentTarget.open)}>
      <summary>{words.why}</summary>
      {alarm.because && <p>{sentence(plainly(alarm.because, frame, words))}</p>}
      {alarm.cause && <p>{alarm.cause}</p>}
      {alarm.consequence && <p>{words.otherwise}: {alarm.consequence}</p>}
      {opened && <Before alarm={alarm} />}
    </details>
  );
}

export function AlarmCard({ alarm, also = [], further = [] }: { alarm: Alarm; also?: readonly Alarm[]; further?: readonly Alarm[][] }) {
  const { frame, now, words } = useHere();
  const about = useAbout(alarm, also);
  const places = [...new Set([alarm, ...also].map((a) => frame.stations.find((s) => s.name === a.station)?.title ?? a.placeTitle))];
  const name = places.length > 1 ? begins(alarm.title) : about && places[0] ? `${begins(places[0])}: ${alarm.title}` : title(alarm);
  const where = places.length > 5 ? `${places.slice(0, 4).join(", ")} ${words.andMore(places.length - 4)}` : places.length > 1 ? list(places, words.and) : "";
  const fact = useFact(alarm);
  const by = useBy(alarm);
  const open = waits(alarm), rest = further.flat();
  // Back to normal: what to do has passed, and only somebody's word is missing. It takes a line, so that what stands is seen first.
  if (open && !alarm.active) {
    return (
      <article class={`alarm ${alarm.priority} standing back`} aria-label={name}>
        <h2><Mark alarm={alarm} words={words} /><span>{name}</span></h2>
        <p class="soft">{where && `${sentence(where)} `}{sentence(words.states[alarm.state] ?? alarm.state)}{alarm.since ? ` ${sentence(`${words.since} ${moment(alarm.since, now, words)}`)}` : ""}</p>
        <Answer alarm={alarm} also={also} />
      </article>
    );
  }
  return (
    <article class={`alarm ${alarm.priority} ${open && alarm.active ? "open" : "standing"}`} aria-label={name}>
      <h2><Mark alarm={alarm} words={words} /><span>{name}</span></h2>
      {about && <p class="fact">{sentence(about)}</p>}
      <p class="fact">{fact}</p>
      <State alarm={alarm} />
      {alarm.caution && alarm.active && <p class="caution"><b>{words.caution}</b> {alarm.caution}</p>}
      {alarm.active && <p class="do">{alarm.action}{by && <> <span class="by">{by}</span></>}</p>}
      {open && <Answer alarm={alarm} also={[...also, ...rest]} />}
      {alarm.state === "latched, acknowledged" && <Reset alarm={alarm} />}
      <Calls alarms={[alarm, ...rest]} />
      <Why alarm={alarm} />
      {further.length > 0 && <ul class="further">{further.map((t) => <Further key={`${t[0]!.id} ${t[0]!.occurrence}`} trouble={t as [Alarm, ...Alarm[]]} />)}</ul>}
    </article>
  );
}

/** What needs one walk, as one card. */
export function WalkCard({ walk: [first, ...further] }: { walk: readonly Alarm[][] }) {
  return <AlarmCard alarm={first![0]!} also={first!.slice(1)} further={further} />;
}
