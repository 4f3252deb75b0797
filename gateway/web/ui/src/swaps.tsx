// Who takes whose calls for a while, and who is away: what was entered, a form for more, and its corrections.
import { useState } from "preact/hooks";
import { useAct } from "./acts";
import { useHere } from "./context";
import { begins, dated, field, list, sentence } from "./say";
import { me } from "./session";
import { Who } from "./who";

export interface Swap {
  id: number; away: string[]; names: string[]; name?: string; crew?: boolean; stands?: string; from: number; to: number; inForce: boolean; who: string; why?: string; at: number; corrects?: number;
}
export interface Turn { person: string; watch: string; from: number; to?: number; after: number; by: string[]; for?: string }
export interface Coming { swaps: Swap[]; turns: Turn[] }

const may = () => me.others || me.may.includes("swaps");

interface Fields { away: string; stands: string; from: string; to: string; why: string }

/** The form of a new one, or of what takes the place of an old one. */
function Form({ old, done, cancel }: { old?: Swap | undefined; done: () => void; cancel: () => void }) {
  const { frame, words, who, now } = useHere();
  const [outcome, act] = useAct(words);
  const [asking, ask] = useState(false);
  const [f, set] = useState<Fields>(old
    ? { away: old.crew ? "crew" : old.names[0] ?? "", stands: old.name ?? "nobody", from: field(old.from, now), to: field(old.to, now), why: old.why ?? "" }
    : { away: "", stands: "", from: "", to: "", why: "" });
  const send = async (by: string) => {
    ask(false);
    if (await act("/api/swaps", { ...f, by, corrects: old?.id ?? 0 })) done();
  };
  const pick = (label: string, key: "away" | "stands", last: [string, string]) => (
    <label>{label}
      <select required value={f[key]} onChange={(e) => set({ ...f, [key]: e.currentTarget.value })}>
        <option value="" />
        {frame.plan.people.filter((p) => key === "away" || p.name !== f.away).map((p) => <option key={p.name} value={p.name}>{begins(p.title)}</option>)}
        <option value={last[0]}>{last[1]}</option>
      </select>
    </label>
  );
  const moment = (label: string, key: "from" | "to") => (
    <label>{label}<input type="datetime-local" required value={f[key]} onInput={(e) => set({ ...f, [key]: e.currentTarget.value })} /></label>
  );
  if (asking) return <Who then={(name) => void send(name)} cancel={() => ask(false)} />;
  return (
    <form class="act swap" onSubmit={(e) => { e.preventDefault(); if (who) void send(who); else ask(true); }}>
      {pick(words.whoIsAway, "away", ["crew", words.wholeCrew])}
      {pick(words.whoTakes, "stands", ["nobody", words.nobody])}
      {moment(words.fromWhen, "from")}
      {moment(words.toWhen, "to")}
      <label>{words.whyAway}<input maxLength={200} autocomplete="off" value={f.why} onInput={(e) => set({ ...f, why: e.currentTarget.value })} /></label>
      {f.stands === "nobody" && <p class="soft">{words.swapMeans}</p>}
      <button class="main" disabled={outcome.busy}>{outcome.busy ? words.writing : words.enterSwap}</button>
      <button type="button" class="bare" onClick={cancel}>{words.cancel}</button>
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </form>
  );
}

function Entered({ swap, again }: { swap: Swap; again: () => void }) {
  const { words, who, now } = useHere();
  const [outcome, act] = useAct(words);
  const [doing, set] = useState<"" | "correct" | "withdraw">("");
  const away = swap.crew ? words.wholeCrew : list(swap.away.map(begins), words.and);
  const withdraw = async (by: string) => {
    set("");
    if (await act("/api/swaps", { withdraw: true, corrects: swap.id, by })) again();
  };
  return (
    <li class="row">
      <p>{swap.inForce && <b>{words.inForceNow}: </b>}{begins(words.takes(begins(swap.stands || words.nobody), away, dated(swap.from, now), dated(swap.to, now)))} {swap.why && sentence(swap.why)}
        <span class="detail">{begins(swap.who)}, {dated(swap.at, now)}</span></p>
      {doing === "correct" && <Form old={swap} done={() => { set(""); again(); }} cancel={() => set("")} />}
      {doing === "withdraw" && <Who then={(name) => void withdraw(name)} cancel={() => set("")} />}
      {doing === "" && may() && (
        <p>
          <button class="small" disabled={outcome.busy} onClick={() => set("correct")}>{words.correctSwap}</button>{" "}
          <button class="small" disabled={outcome.busy} onClick={() => { if (who) void withdraw(who); else set("withdraw"); }}>{words.withdrawSwap}</button>
        </p>
      )}
      {outcome.failed && <p role="alert">{outcome.says}</p>}
    </li>
  );
}

export function Swaps({ swaps, again }: { swaps: Swap[]; again: () => void }) {
  const { words } = useHere();
  const [open, set] = useState(false);
  return (
    <section class="swaps">
      <h2>{words.swaps}</h2>
      {swaps.length === 0 ? <p class="soft">{words.noSwaps}</p> : <ul>{swaps.map((s) => <Entered key={s.id} swap={s} again={again} />)}</ul>}
      {open ? <Form done={() => { set(false); again(); }} cancel={() => set(false)} />
        : may() && <p class="try"><button onClick={() => set(true)}>{words.newSwap}</button></p>}
    </section>
  );
}
