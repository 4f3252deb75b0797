// Afterwards: what an alarm was and what was done, asked shortly once it is over.
import { useState } from "preact/hooks";
import { useAct } from "./acts";
import { useHere } from "./context";
import { atWall, begins } from "./say";
import { me } from "./session";
import { Who } from "./who";

interface Closing { alarm: string; occurrence: number; title: string; place: string; from: number; to: number; who: string }

function Ask({ one, again }: { one: Closing; again: () => void }) {
  const { words, who, now } = useHere();
  const [outcome, act] = useAct(words);
  const [asking, ask] = useState(false);
  const [was, setWas] = useState("");
  const [done, setDone] = useState("");
  const send = async (by: string) => {
    ask(false);
    if (await act("/api/acts", { do: "close-out", alarm: one.alarm, occurrence: one.occurrence, what: was, why: done, by })) again();
  };
  const name = `${begins(one.place)}: ${one.title}`;
  return (
    <li class="row">
      <h3>{name}</h3>
      <p class="soft">{begins(words.wasOver(atWall(one.from, now), atWall(one.to, now), begins(one.who)))}</p>
      {asking ? <Who then={(n) => void send(n)} cancel={() => ask(false)} /> : (
        <form class="act" aria-label={name} onSubmit={(e) => { e.preventDefault(); if (who) void send(who); else ask(true); }}>
          <label>{words.whatWas}<input required maxLength={200} autocomplete="off" value={was} onInput={(e) => setWas(e.currentTarget.value)} /></label>
          <label>{words.whatDone}<input maxLength={200} autocomplete="off" value={done} onInput={(e) => setDone(e.currentTarget.value)} /></label>
          <button disabled={outcome.busy}>{outcome.busy ? words.writing : words.writeNote}</button>
          {outcome.failed && <p role="alert">{outcome.says}</p>}
        </form>
      )}
    </li>
  );
}

/** Shut until somebody has a minute: nothing here is urgent. */
export function Closings({ list, again }: { list: Closing[]; again: () => void }) {
  const { words } = useHere();
  if (!me.others && !me.may.includes("acknowledge")) return null;
  return (
    <details class="closings">
      <summary>{words.afterwards(list.length)}</summary>
      <ul class="plainlist">{list.map((c) => <Ask key={`${c.alarm} ${c.occurrence}`} one={c} again={again} />)}</ul>
    </details>
  );
}
