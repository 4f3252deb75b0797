// Who is called tonight, when and by what; and whether the ways by which people are called work.
import { useState } from "preact/hooks";
import { useAct } from "./acts";
import { useBook } from "./books";
import { useHere } from "./context";
import { useSentence } from "./links";
import { PushHere } from "./push";
import { begins, hour, length, list, moment, sentence } from "./say";
import { Swaps, type Coming, type Turn } from "./swaps";
import { Go } from "./way";
import { Who } from "./who";
import type { Words } from "./words/en";

interface Step { after: number; people: string[]; by: string[] }
interface Watch {
  name: string; title: string; onDuty: boolean; hours: string[]; takes: string[]; areas: string[]; onlyWhenNamed?: boolean; present?: boolean; digest?: string;
  repeat: number; steps: Step[];
}

const watchNamed = (title: string, words: Words) => words.watchNames[title] ?? title;
const channelsOf = (by: string[], words: Words) => list(by.map((w) => words.channels[w] ?? w), words.and);

function Steps({ watch }: { watch: Watch }) {
  const { words } = useHere();
  return (
    <ol class="steps">
      {watch.steps.map((s) => (
        <li class="prompt" key={s.after}>
          <span class="hour">{s.after ? `+${length(s.after)}` : words.atOnce}</span>
          <span>{list(s.people, words.and)}<span class="detail">{s.by.length ? words.byWay(channelsOf(s.by, words)) : words.byOwnWay}</span></span>
        </li>
      ))}
      {watch.repeat > 0 && <li class="prompt"><span class="hour">…</span><span class="soft">{words.thenEvery(length(watch.repeat))}</span></li>}
    </ol>
  );
}

/** How one person is called by the watches on duty, in sentences: what holds while the clock is not set. */
function useNow(title: string, watches: Watch[]): string[] {
  const { words } = useHere();
  return watches.filter((w) => w.onDuty).flatMap((w) => {
    const step = w.steps.find((s) => s.people.includes(title));
    return step ? [words.youAreCalled(watchNamed(w.title, words), step.after ? length(step.after) : "", channelsOf(step.by, words))] : [];
  });
}

/** What is left of a turn beside those in which the same watch calls the same person sooner: a swap may put her first for a part of her own turn. */
function beside(t: Turn, turns: Turn[]): Turn[] {
  let left = [t];
  for (const o of turns) {
    if (o.person !== t.person || o.watch !== t.watch || o.after >= t.after) continue;
    left = left.flatMap((l) => {
      const lEnd = l.to ?? Infinity, oEnd = o.to ?? Infinity;
      if (o.from >= lEnd || oEnd <= l.from) return [l];
      return [...(l.from < o.from ? [{ ...l, to: o.from }] : []), ...(oEnd < lEnd ? [{ ...l, from: oEnd }] : [])];
    });
  }
  return left;
}

/** How one person will be called, turn by turn. */
function useTurns(title: string, turns: Turn[]): string[] {
  const { words, now } = useHere();
  return turns.filter((t) => t.person === title).flatMap((t) => beside(t, turns)).filter((t) => !t.to || t.to > now.wall).sort((a, b) => a.from - b.from).map((t) => {
    const how = words.youAreCalled(watchNamed(t.watch, words), t.after ? length(t.after) : "", channelsOf(t.by, words));
    return `${begins(words.turn(t.from <= now.wall ? "" : hour(t.from, now), t.to ? hour(t.to, now) : ""))}: ${how}${t.for ? ` ${words.inPlaceOf(begins(t.for))}.` : ""}`;
  });
}

function Mine({ title, me, watches, coming }: { title: string; me: boolean; watches: Watch[]; coming: Coming }) {
  const { words, now } = useHere();
  const still = useNow(title, watches), turns = useTurns(title, coming.turns);
  const says = now.set ? turns : still;
  return (
    <li class="row">
      <p><b>{begins(title)}</b>{me ? ` (${words.you})` : ""}{says.length === 0 && `: ${words.youAreNotCalled}`}</p>
      {says.map((s) => <p class="turn" key={s}>{s}</p>)}
    </li>
  );
}

/** Trying how one is called: a message marked as an exercise, by all one's channels. */
function TryIt() {
  const { words, who } = useHere();
  const [outcome, act] = useAct(words);
  const [asking, ask] = useState(false);
  const send = (name: string) => {
    ask(false);
    void act("/api/acts", { do: "drill", person: name, by: name });
  };
  if (asking) return <Who then={send} cancel={() => ask(false)} />;
  const says = outcome.failed ? outcome.says : words.drillSent;
  return (
    <>
      <p class="try"><button disabled={outcome.busy} onClick={() => (who ? send(who) : ask(true))}>{words.tryIt}</button></p>
      {!outcome.busy && outcome.says && <p role={outcome.failed ? "alert" : "status"}>{says}</p>}
    </>
  );
}

export function RosterPage() {
  const { frame, now, words, who } = useHere();
  const say = useSentence();
  const { got, failed } = useBook<Watch[]>("/api/watches", 30e3);
  const coming = useBook<Coming>("/api/swaps", 30e3);
  const channels = frame.links.filter((l) => l.kind === "channel" || l.kind === "watcher");
  const people = [...frame.plan.people].sort((a, b) => Number(b.name === who) - Number(a.name === who));
  const ways = (
    <>
      <section><h2>{words.waysOfCalling}</h2><ul>{channels.map((l) => <li class="row" key={l.name}><p>{say(l)}</p></li>)}</ul></section>
      <p class="soft">{frame.roster.drill ? words.drill(moment(frame.roster.drill, now, words), frame.roster.drillBy ?? "") : words.noDrill}</p>
      <p><Go to="/rules">{words.changeInRules}</Go></p>
    </>
  );
  return (
    <main class="lists rosterpage">
      <h1>{words.roster}</h1>
      <p>{frame.roster.onWatch.length ? sentence(words.onWatch(list(frame.roster.onWatch, words.and))) : sentence(words.nobodyOnWatch)}
        {frame.roster.until ? ` ${sentence(words.until(moment(frame.roster.until, now, words)))}` : ""}</p>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {got && coming.got && (
        <>
          <div><section><h2>{words.howCalled}</h2><ul>{people.map((p) => <Mine key={p.name} title={p.title} me={p.name === who} watches={got} coming={coming.got!} />)}</ul><TryIt /><PushHere by={who} /></section>
          <Swaps swaps={coming.got.swaps} again={coming.again} /></div>
          <div>
          {got.map((w) => (
            <section key={w.name}>
              <h2>{words.watchOf(watchNamed(w.title, words))}</h2>
              <p><b>{w.onDuty ? words.onDutyNow : words.offDutyNow}</b>, {w.hours.length ? w.hours.map((h) => h.replace("-", "–")).join(", ") : words.always}.
                {w.takes.length > 0 && w.takes.length < 3 && ` ${words.takesOnly(list(w.takes.map((t) => (words.priorities as Record<string, string>)[t]?.toLowerCase() ?? t), words.and))}`}
                {w.areas.length > 0 && ` ${words.onlyAreas(list(w.areas, words.and))}`}
                {w.digest && ` ${words.digestAt(w.digest)}`}
                {w.present && ` ${words.arePresent}`}
                {w.onlyWhenNamed && ` ${words.onlyNamed}`}</p>
              <Steps watch={w} />
            </section>
          ))}
          {got.length === 0 && <p>{words.noWatches}</p>}
          {ways}
          </div>
        </>
      )}
      {!(got && coming.got) && ways}
    </main>
  );
}
