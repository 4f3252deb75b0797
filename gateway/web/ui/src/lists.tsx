// Every alarm that is not plainly normal: standing, shelved, suppressed by design, out of service, and those that cannot see.
import { useState } from "preact/hooks";
import { useAct } from "./acts";
import { AlarmCard, title } from "./alarm";
import { useHere } from "./context";
import { plainly } from "./names";
import { Afterwards, occurrenceOf, standing } from "./next";
import { length, moment, sentence } from "./say";
import { Mark } from "./shapes";
import { useSteady } from "./steady";
import type { Alarm } from "./types";
import { Who } from "./who";

/** Choices of a shelf's length, as the rules language writes them. */
const shelves: [string, number][] = [["30 min", 30], ["1 h", 60], ["2 h", 120], ["4 h", 240], ["8 h", 480], ["24 h", 1440]];

function Act({ alarm, does, label }: { alarm: Alarm; does: "shelve" | "remove" | "unshelve" | "return"; label: string }) {
  const { words, who, frame } = useHere();
  const [outcome, act] = useAct(words);
  const [open, setOpen] = useState(false);
  const [asking, ask] = useState(false);
  const [why, setWhy] = useState("");
  const [length, setLength] = useState("");
  const [second, setSecond] = useState("");
  const reasons = does === "shelve" || does === "remove";
  const needsSecond = does === "remove" && alarm.class === "safety";
  const send = (name: string) => {
    ask(false);
    const body: Record<string, unknown> = { do: does, alarm: alarm.id, by: name, why };
    if (does === "shelve") body["for"] = length;
    if (needsSecond) body["second"] = second;
    void act("/api/acts", body).then((done) => { if (done) setOpen(false); });
  };
  const ready = (e: Event) => {
    e.preventDefault();
    if (who) send(who);
    else ask(true);
  };
  if (asking) return <Who then={send} cancel={() => ask(false)} />;
  if (reasons && !open) return <button class="small" onClick={() => setOpen(true)}>{label}</button>;
  return (
    <form class="act" onSubmit={ready}>
      {does === "shelve" && (
        <label>{words.shelveFor}
          <select required value={length} onChange={(e) => setLength(e.currentTarget.value)}>
            <option value="" />
            {shelves.filter(([, min]) => min * 60e3 <= alarm.shelvable).map(([text]) => <option key={text}>{text}</option>)}
          </select>
        </label>
      )}
      {reasons && <label>{words.reason}<input required maxLength={200} value={why} onInput={(e) => setWhy(e.currentTarget.value)} /></label>}
      {needsSecond && (
        <label>{words.second}
          <select required value={second} onChange={(e) => setSecond(e.currentTarget.value)}>
            <option value="" />
            {frame.plan.people.filter((p) => p.name !== who).map((p) => <option key={p.name} value={p.name}>{p.title}</option>)}
          </select>
        </label>
      )}
      <button class="small" disabled={outcome.busy}>{outcome.busy ? words.writing : label}</button>
      {reasons && <button type="button" class="small bare" onClick={() => setOpen(false)}>{words.cancel}</button>}
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </form>
  );
}

function Row({ alarm }: { alarm: Alarm }) {
  const { frame, now, words } = useHere();
  const why = words.hiddenBy(alarm.hiddenBy, alarm.hiddenWhy || plainly(alarm.because, frame, words));
  const until = alarm.shelfEnds ? words.until(moment(alarm.shelfEnds, now, words)) : "";
  return (
    <li class="row">
      <h3><Mark alarm={alarm} words={words} /><span>{title(alarm)}</span></h3>
      <p class="soft">{[why, until].filter(Boolean).map(sentence).join(" ")}</p>
      {alarm.state === "shelved" && <Act alarm={alarm} does="unshelve" label={words.unshelve} />}
      {alarm.state === "out of service" && <Act alarm={alarm} does="return" label={words.giveBack} />}
    </li>
  );
}

function List({ name, alarms }: { name: string; alarms: Alarm[] }) {
  const { words } = useHere();
  return (
    <section>
      <h2>{name} · {alarms.length}</h2>
      {alarms.length === 0 ? <p class="soft">{words.noneOfThese}</p> : <ul class="plainlist">{alarms.map((a) => <Row key={a.id} alarm={a} />)}</ul>}
    </section>
  );
}

/** So many are seen at a glance; a longer list of what asks nothing of anybody is folded. */
const atAGlance = 5;

/** Those that cannot be judged now. Nobody can act on them one by one, so they take a line until somebody looks. */
function Unseen({ alarms }: { alarms: Alarm[] }) {
  const { words } = useHere();
  if (alarms.length <= atAGlance) return <List name={words.unseen} alarms={alarms} />;
  return (
    <section>
      <details class="folds">
        <summary><h2>{words.unseen} · {alarms.length}</h2></summary>
        <ul class="plainlist">{alarms.map((a) => <Row key={a.id} alarm={a} />)}</ul>
      </details>
      <p class="soft">{words.unseenAre}</p>
    </section>
  );
}

/** How many stand on the lists of their own; said on every page. */
export function counted(alarms: readonly Alarm[]): [number, number, number, number] {
  const of = (state: string) => alarms.filter((a) => a.state === state).length;
  return [of("shelved"), of("suppressed by design"), of("out of service"), alarms.filter((a) => a.cannotSee).length];
}

export function AlarmsPage() {
  const { frame, words, now } = useHere();
  const [now1, box] = useSteady<Alarm, HTMLElement>(standing(frame.alarms), occurrenceOf);
  const of = (state: string) => frame.alarms.filter((a) => a.state === state);
  return (
    <main class="lists alarmspage">
      <h1>{words.alarms}</h1>
      <section class="nowstanding" ref={box}>
        <h2>{words.standing} · {now1.length}</h2>
        {now1.length === 0 && <p class="soft">{words.noneOfThese}</p>}
        {now1.map((a) => (
          <div key={occurrenceOf(a)}>
            <AlarmCard alarm={a} />
            <div class="more">
              {a.shelvable > 0 && <Act alarm={a} does="shelve" label={`${words.shelve}, ${words.atMost(length(a.shelvable))}`} />}
              <Act alarm={a} does="remove" label={words.remove} />
            </div>
          </div>
        ))}
      </section>
      <Afterwards />
      <List name={words.shelved} alarms={of("shelved")} />
      <List name={words.suppressed} alarms={of("suppressed by design")} />
      <List name={words.outOfService} alarms={of("out of service")} />
      <Unseen alarms={frame.alarms.filter((a) => a.cannotSee)} />
      {!now.set && <p class="soft">{words.clockUnset}</p>}
    </main>
  );
}
