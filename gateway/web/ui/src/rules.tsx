// The rules file, edited with the checker looking on: its marks stand at the right place while one types. What does not check is not saved.
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, headers, Refused } from "./books";
import { useHere } from "./context";
import { Go } from "./way";
import { Who } from "./who";

export interface Said { severity: "error" | "warning" | "note"; file: string; line: number; column: number; width: number; summary: string; detail?: string }
interface Answer { said: Said[]; done: boolean }
interface Files { files: { name: string; text: string }[]; hash: string }

/** The checker is asked when nobody has typed for so long. */
const pause = 400;

export async function send<T>(path: string, body: object): Promise<T> {
  const answer = await fetch(path, { method: "POST", headers: headers(true), body: JSON.stringify(body), signal: AbortSignal.timeout(20e3) });
  const got = (await answer.json()) as T & { says?: string };
  if (!answer.ok) throw new Refused(got.says ?? String(answer.status), false);
  return got;
}

/** One line with what is marked in it. Columns count characters, as people do. */
function Marked({ text, said }: { text: string; said: Said[] }) {
  const chars = [...text];
  const out: preact.ComponentChildren[] = [];
  let at = 0;
  for (const s of [...said].sort((a, b) => a.column - b.column)) {
    const from = Math.max(at, Math.min(s.column - 1, chars.length)), to = Math.max(from, Math.min(s.column - 1 + Math.max(1, s.width), chars.length));
    out.push(chars.slice(at, from).join(""), <mark class={s.severity}>{chars.slice(from, to).join("") || " "}</mark>);
    at = to;
  }
  out.push(chars.slice(at).join(""), "\n");
  return <span class={said.length ? "has" : ""}>{out}</span>;
}

/** A text of rules with the checker's marks in it; id is that of the field, what is said in all stands in id-said. */
export function Editor({ id, label, text, set, said, ...rest }: { id: string; label: string; text: string; set: (t: string) => void; said: Said[]; class?: string }) {
  const area = useRef<HTMLTextAreaElement>(null), back = useRef<HTMLPreElement>(null), gutter = useRef<HTMLPreElement>(null);
  const lines = text.split("\n");
  const follow = () => {
    const a = area.current!;
    back.current!.scrollTop = gutter.current!.scrollTop = a.scrollTop;
    back.current!.scrollLeft = a.scrollLeft;
  };
  useEffect(follow);
  return (
    <div class={`editor ${rest.class ?? ""}`}>
      <pre class="gutter" ref={gutter} aria-hidden="true">
        {lines.map((_, i) => <span class={said.some((s) => s.line === i + 1 && s.severity === "error") ? "bad" : ""}>{`${i + 1}\n`}</span>)}
      </pre>
      <div class="page">
        <pre class="back" ref={back} aria-hidden="true">{lines.map((l, i) => <Marked text={l} said={said.filter((s) => s.line === i + 1)} />)}</pre>
        <textarea ref={area} id={id} aria-label={label} aria-describedby={`${id}-said`} spellcheck={false} autocapitalize="off" autocomplete="off" wrap="off"
          aria-invalid={said.some((s) => s.severity === "error")} value={text} onInput={(e) => set(e.currentTarget.value)} onScroll={follow} />
      </div>
    </div>
  );
}

/** Puts the cursor where something was said. */
function jump(id: string, text: string, s: Said): void {
  const area = document.getElementById(id) as HTMLTextAreaElement;
  const lines = text.split("\n");
  const before = lines.slice(0, s.line - 1).join("\n").length + (s.line > 1 ? 1 : 0);
  const chars = [...(lines[s.line - 1] ?? "")];
  const from = before + chars.slice(0, s.column - 1).join("").length;
  area.focus();
  area.setSelectionRange(from, from + chars.slice(s.column - 1, s.column - 1 + Math.max(1, s.width)).join("").length);
  area.scrollTop = Math.max(0, (s.line - 4) * parseFloat(getComputedStyle(area).lineHeight));
}

export function List({ said, name, text, id }: { said: Said[]; name: string; text: string; id: string }) {
  const { words } = useHere();
  return (
    <ul class="said">
      {said.map((s) => (
        <li class="row" key={`${s.file} ${s.line} ${s.column} ${s.summary}`}>
          {s.file === name
            ? <button class="pick" onClick={() => jump(id, text, s)}>{words.lineAt(s.line, s.column)}</button>
            : <span class="soft">{s.file}:{s.line}</span>}
          <div><p><b>{words.severities[s.severity]}:</b> <span lang="en">{s.summary}</span></p>{s.detail && <p class="soft" lang="en">{s.detail}</p>}</div>
        </li>
      ))}
    </ul>
  );
}

/** What the checker says to the text, asked while it is typed. */
function useChecker(name: string, text: string): { said: Said[]; busy: boolean; failed: string; set: (s: Said[]) => void } {
  const [said, set] = useState<Said[]>([]);
  const [busy, work] = useState(false);
  const [failed, fail] = useState("");
  useEffect(() => {
    if (!name) return;
    let stale = false;
    work(true);
    const t = setTimeout(() => {
      send<Answer>("/api/rules/check", { name, text, was: "", by: "" }).then(
        (a) => { if (!stale) { set(a.said); fail(""); work(false); } },
        (e: unknown) => { if (!stale) { fail(e instanceof Refused ? e.message : "?"); work(false); } },
      );
    }, pause);
    return () => { stale = true; clearTimeout(t); };
  }, [name, text]);
  return { said, busy, failed, set };
}

export function RulesPage() {
  const { words, who } = useHere();
  const [files, setFiles] = useState<Files | null>(null);
  const [name, setName] = useState("");
  const [was, setWas] = useState("");
  const [text, set] = useState("");
  const [outcome, tell] = useState("");
  const [asking, ask1] = useState(false);
  const [saving, save] = useState(false);
  const checker = useChecker(name, text);
  const open = (f: Files, n: string) => {
    const file = f.files.find((x) => x.name === n) ?? f.files[0];
    setFiles(f);
    setName(file?.name ?? "");
    setWas(file?.text ?? "");
    set(file?.text ?? "");
  };
  const load = () => ask<Files>("/api/rules").then((f) => open(f, name), (e: unknown) => tell(e instanceof Refused ? e.message : words.noAnswer));
  useEffect(() => { void load(); }, []);
  const changed = text !== was;
  useEffect(() => {
    const keep = (e: BeforeUnloadEvent) => { if (changed) e.preventDefault(); };
    addEventListener("beforeunload", keep);
    return () => removeEventListener("beforeunload", keep);
  }, [changed]);
  const put = async (by: string) => {
    ask1(false);
    save(true);
    try {
      const a = await send<Answer>("/api/rules", { name, was, text, by });
      checker.set(a.said);
      tell(a.done ? words.inForce : words.notSaved);
      if (a.done) setWas(text);
    } catch (e) {
      tell(e instanceof Refused ? e.message : words.notWritten);
    }
    save(false);
  };
  const errors = checker.said.filter((s) => s.severity === "error").length, warnings = checker.said.length - errors;
  return (
    <main class="lists rulespage">
      <h1>{words.rulesFile}</h1>
      <p class="soft">{words.rulesAre}</p>
      {files && files.files.length > 1 && (
        <div class="spans" role="group" aria-label={words.rulesFile}>
          {files.files.map((f) => <button key={f.name} aria-pressed={f.name === name} disabled={changed && f.name !== name} onClick={() => open(files, f.name)}>{f.name}</button>)}
        </div>
      )}
      {files && <Editor id="rules" label={`${words.rules} ${name}`} text={text} set={set} said={checker.said.filter((s) => s.file === name)} />}
      <p id="rules-said" role="status">{checker.failed ? (checker.failed === "?" ? words.noAnswer : checker.failed) : checker.busy ? words.checking : words.checked(errors, warnings)}</p>
      {asking ? <Who then={(n) => void put(n)} cancel={() => ask1(false)} /> : (
        <div class="act">
          <button class="main" disabled={!changed || errors > 0 || checker.busy || saving} onClick={() => (who ? void put(who) : ask1(true))}>{saving ? words.writing : words.saveRules}</button>
          <button disabled={!changed} onClick={() => void load()}>{words.backToForce}</button>
        </div>
      )}
      {outcome && <p role="alert">{outcome}</p>}
      {checker.said.length > 0 && words.checkerIsEnglish && <p class="soft">{words.checkerIsEnglish}</p>}
      <List said={checker.said} name={name} text={text} id="rules" />
      <p><Go to="/register">{words.register}</Go></p>
    </main>
  );
}
