// From wired to watched: look what is on the buses, name what was found, see what the checker says, put it in force, see its first readings.
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, Refused } from "./books";
import { useHere } from "./context";
import { Editor, List, send, type Said } from "./rules";
import { begins } from "./say";
import { me } from "./session";
import { scanSpanish } from "./words/scan";
import { Figure, Go } from "./way";
import { Who } from "./who";

interface Found { bus: string; place: string; what: string; parts?: string[]; sure: "certain" | "probable" | "possible" | "unknown"; why: string; known?: string; left?: string; block?: string }
interface Wired { found: Found[]; notes: string[] }
interface ProbeSaid { block: string; name: string; said: Said[]; done: boolean }

/** What the gateway says of things on its buses, in the language of this person. */
function useScanned(): (text: string) => string {
  const { now } = useHere();
  return now.language === "es" ? scanSpanish : (text) => text;
}

/** The checker is asked when nobody has typed for so long. */
const pause = 400;

export function mayWire(): boolean {
  return me.others || me.may.includes("write");
}

/** The block with another name; what scan wrote beside the old one goes with it. */
const named = (block: string, name: string) => block.replace(/^probe\b.*$/m, `probe ${name}`);
/** The block with all that it gives at another station. */
const standingAt = (block: string, station: string) => block.replace(/^(\s+gives\s.*\sat\s+)\S+/gm, `$1${station}`);

/** What the checker says to the block, asked while it is typed. */
function useChecker(block: string): { said: Said[]; busy: boolean; failed: string } {
  const [said, set] = useState<Said[]>([]);
  const [busy, work] = useState(true);
  const [failed, fail] = useState("");
  useEffect(() => {
    let stale = false;
    work(true);
    const t = setTimeout(() => {
      send<ProbeSaid>("/api/probes/check", { block }).then(
        (a) => { if (!stale) { set(a.said); fail(""); work(false); } },
        (e: unknown) => { if (!stale) { set([]); fail(e instanceof Refused ? e.message : "?"); work(false); } },
      );
    }, pause);
    return () => { stale = true; clearTimeout(t); };
  }, [block]);
  return { said, busy, failed };
}

/** A block on its way into the rules. */
function Adding({ from, done, cancel }: { from: string; done: (name: string) => void; cancel: () => void }) {
  const { frame, words, who } = useHere();
  const [block, set] = useState(from.trimEnd().replace(/\s+#.*$/gm, "")); // what scan says beside it is said by the fields here
  const [asking, whose] = useState(false);
  const [saving, save] = useState(false);
  const [trouble, tell] = useState("");
  const { said, busy, failed } = useChecker(block);
  const first = useRef<HTMLInputElement>(null);
  useEffect(() => first.current?.focus(), []);
  const errors = said.filter((s) => s.severity === "error").length;
  const name = /^probe\s+(\S+)/m.exec(block)?.[1] ?? "", station = /^\s+gives\s.*\sat\s+(\S+)/m.exec(block)?.[1] ?? "";
  const put = async (by: string) => {
    whose(false);
    save(true);
    try {
      const a = await send<ProbeSaid>("/api/probes", { block, by });
      if (a.done) { done(a.name); return; }
      tell(words.notSaved);
    } catch (e) {
      tell(e instanceof Refused ? e.message : words.notWritten);
    }
    save(false);
  };
  return (
    <div class="adding">
      <div class="act">
        <label>{words.probeName}<input ref={first} autocomplete="off" autocapitalize="off" spellcheck={false} maxLength={60} value={name} onInput={(e) => set(named(block, e.currentTarget.value.trim().toLowerCase().replace(/[\s_]+/g, "-")))} /></label>
        <label>{words.standsAt}
          <select value={station} onChange={(e) => set(standingAt(block, e.currentTarget.value))}>
            {!frame.stations.some((s) => s.name === station) && <option value={station}>{station}</option>}
            {frame.stations.filter((s) => s.kind !== "board").map((s) => <option key={s.name} value={s.name}>{begins(s.title)}</option>)}
          </select>
        </label>
      </div>
      <Editor id="block" class="short" label={words.probeBlock} text={block} set={set} said={said.filter((s) => s.file === "")} />
      <p id="block-said" role="status">{failed ? (failed === "?" ? words.noAnswer : failed) : busy ? words.checking : words.checked(errors, said.length - errors)}</p>
      {said.length > 0 && words.checkerIsEnglish && <p class="soft">{words.checkerIsEnglish}</p>}
      <List said={said} name="" text={block} id="block" />
      {asking ? <Who then={(n) => void put(n)} cancel={() => whose(false)} /> : (
        <div class="act">
          <button class="main" disabled={errors > 0 || busy || failed !== "" || saving} onClick={() => (who ? void put(who) : whose(true))}>{saving ? words.writing : words.addProbe}</button>
          <button onClick={cancel}>{words.cancel}</button>
        </div>
      )}
      {trouble && <p role="alert">{trouble}</p>}
    </div>
  );
}

function One({ found, add }: { found: Found; add: () => void }) {
  const { words } = useHere();
  const said = useScanned();
  return (
    <li class="row found">
      <h3>{begins(said(found.what))}{found.known ? "" : <span class="soft"> · {words.sures[found.sure]}</span>}</h3>
      <p class="soft">{found.bus} · {found.place} · {said(found.why)}</p>
      {found.known ? <p class="soft">{words.inRulesAs(found.known)}</p> : found.left && <p class="soft">{words.notTouched(said(found.left))}</p>}
      {!found.known && (found.parts?.length ?? 0) > 1 && <p class="soft">{words.mayBe(found.parts!.join(", "))}</p>}
      {found.block?.startsWith("probe") && !found.known && <button onClick={add}>{words.addThis}</button>}
    </li>
  );
}

/** The first readings of what was just added. */
function Added({ name, points }: { name: string; points: readonly string[] }) {
  const { frame, words } = useHere();
  const own = frame.plan.points.filter((p) => points.includes(p.name));
  return (
    <div role="status" class="added">
      <p><b>{words.added(name)}</b>{own.length ? "" : ` ${words.firstComes}`}</p>
      <ul class="lines">
        {own.map((p) => <li class="line short" key={p.name}><span class="name"><Go to={`/point/${p.name}`}>{begins(p.title)}</Go></span><Figure point={p} beside={p.title} /></li>)}
      </ul>
    </div>
  );
}

/** pointsOf gives the points of a probe as the list of probes has them; again asks for that list anew. */
export function Wiring({ pointsOf, again }: { pointsOf: (probe: string) => readonly string[]; again: () => void }) {
  const { words, who } = useHere();
  const said = useScanned();
  const [wired, set] = useState<Wired | null>(null);
  const [looking, look] = useState(false);
  const [asking, whose] = useState(false);
  const [trouble, tell] = useState("");
  const [block, begin] = useState("");
  const [added, finish] = useState("");
  const scan = async (by: string) => {
    whose(false);
    look(true);
    tell("");
    finish("");
    try {
      set(await ask<Wired>("/api/scan", AbortSignal.timeout(40e3), { by }));
    } catch (e) {
      tell(e instanceof Refused ? e.message : words.noAnswer);
    }
    look(false);
  };
  const free = (wired?.found ?? []).filter((f) => !f.known), known = (wired?.found ?? []).filter((f) => f.known);
  return (
    <section class="wiring" aria-labelledby="wiring">
      <h2 id="wiring">{words.addAProbe}</h2>
      <p class="soft">{words.scanIs}</p>
      {asking ? <Who then={(n) => void scan(n)} cancel={() => whose(false)} /> : !block && (
        <div class="act"><button disabled={looking} onClick={() => (who ? void scan(who) : whose(true))}>{looking ? words.looking : words.lookWired}</button></div>
      )}
      {trouble && <p role="alert">{trouble}</p>}
      {added && <Added name={added} points={pointsOf(added)} />}
      {block ? <Adding from={block} cancel={() => begin("")} done={(name) => { begin(""); set(null); finish(name); again(); }} /> : wired && (
        <div>
          <p role="status">{words.scanFound(wired.found.length, free.length)}</p>
          {wired.notes.map((n) => <p class="soft" key={n}>{said(n)}</p>)}
          <ul>{free.map((f) => <One key={`${f.bus} ${f.place}`} found={f} add={() => begin(f.block!)} />)}</ul>
          {known.length > 0 && (
            <details>
              <summary>{words.knownAlready} · {known.length}</summary>
              <ul>{known.map((f) => <One key={`${f.bus} ${f.place}`} found={f} add={() => undefined} />)}</ul>
            </details>
          )}
        </div>
      )}
    </section>
  );
}
