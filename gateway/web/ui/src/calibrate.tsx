// A walk through the references of a probe: hold one to it, wait until the reading stands still, take it; then the gateway judges and writes it down.
import { useState } from "preact/hooks";
import { ask, Refused, useBook } from "./books";
import { useHere } from "./context";
import { me } from "./session";
import { atWall, sentence } from "./say";
import { Who } from "./who";

interface Standing {
  point: string; method: "electrode" | "scale" | "line"; unit: string; read: number; shown: number; blind?: boolean; celsius?: number; stands: boolean; why?: string;
  buffers?: Record<string, number>; boiling: number; doubt?: string; drift?: string;
}
interface Taken { reference: number; read: number; shown: number; blind?: boolean; celsius?: number }
interface Outcome { accepted: boolean; found: number[]; left: { slope?: number; offset?: number; gain?: number; shift?: number; warning?: string; refused?: string }; due?: number; drift?: string }

/** How often it is asked how the probe stands, in milliseconds. */
const lookEvery = 2000;

/** So few places that a hand can read them off, so many that a buffer's hundredths are seen. */
const shown = (n: number) => n.toFixed(Math.abs(n) >= 100 ? 1 : 2);
const off = (n: number) => (n > 0 ? "+" : "") + shown(n);

/** What was typed as a number, with a point or a comma; null: it is none. */
function number(typed: string): number | null {
  const n = Number(typed.trim().replace(",", "."));
  return typed.trim() === "" || Number.isNaN(n) ? null : n;
}

export function mayCalibrate(): boolean {
  return me.others || me.may.includes("calibrate");
}

function References({ at, take }: { at: Standing; take: (reference: number, celsius?: number) => void }) {
  const { words } = useHere();
  const [typed, type] = useState("");
  const [warmth, warm] = useState("");
  const reference = number(typed), celsius = at.celsius ?? number(warmth) ?? undefined;
  const electrode = at.method === "electrode", ready = at.stands && !(electrode && celsius === undefined);
  return (
    <div class="act">
      {Object.entries(at.buffers ?? {}).sort(([a], [b]) => Number(a) - Number(b)).map(([name, ph]) => (
        <button key={name} disabled={!ready} onClick={() => take(ph, at.celsius)}>{words.takeBuffer(name, shown(ph), String(+(at.celsius ?? 25).toFixed(1)))}</button>
      ))}
      {at.method === "line" && at.unit === "°C" && <>
        <button disabled={!ready} onClick={() => take(0)}>{words.takeIce}</button>
        <p class="caution">{words.boilingCaution}</p>
        <button disabled={!ready} onClick={() => take(at.boiling)}>{words.takeBoiling(at.boiling.toFixed(1))}</button>
      </>}
      <label>{words.trueValue(at.unit)}<input inputMode="decimal" autocomplete="off" value={typed} onInput={(e) => type(e.currentTarget.value)} /></label>
      {electrode && at.celsius === undefined && <label>{words.bufferWarmth}<input inputMode="decimal" autocomplete="off" value={warmth} onInput={(e) => warm(e.currentTarget.value)} /></label>}
      <button disabled={!ready || reference === null} onClick={() => { take(reference!, celsius); type(""); }}>{words.takeIt}</button>
    </div>
  );
}

function Result({ done, unit, method }: { done: Outcome; unit: string; method: Standing["method"] }) {
  const { now, words } = useHere();
  const { left } = done;
  return (
    <div role="alert">
      <p><b>{done.accepted ? words.calibrationAccepted : words.calibrationRefused}</b>{left.refused ? ` ${left.refused}.` : ""}</p>
      {done.found.length > 0 && <p>{words.asFound(done.found.map((e) => `${off(e)} ${unit}`).join(", "))}</p>}
      {done.accepted && left.slope && method === "electrode" ? <p>{words.asLeftSlope(shown(left.slope), off((left.offset ?? 0) * 1000))}</p> : null}
      {done.accepted && left.gain ? <p>{words.asLeftLine(left.gain.toFixed(4), off(left.shift ?? 0), unit)}</p> : null}
      {left.warning && <p>{left.warning}</p>}
      {done.drift && <p>{done.drift}</p>}
      {done.due ? <p>{words.nextDue(atWall(done.due, now))}</p> : null}
    </div>
  );
}

export function Calibrate({ probe, points, again }: { probe: string; points: string[]; again: () => void }) {
  const { frame, words, who } = useHere();
  const [point, choose] = useState(points[0] ?? "");
  const { got: at, failed } = useBook<Standing>(`/api/calibration?probe=${encodeURIComponent(probe)}&channel=${encodeURIComponent(point)}`, lookEvery);
  const [taken, set] = useState<Taken[]>([]);
  const [done, tell] = useState<Outcome | null>(null);
  const [trouble, fail] = useState("");
  const [asking, whose] = useState(false);
  const titleOf = (name: string) => frame.plan.points.find((p) => p.name === name)?.title ?? name;
  const begin = (p: string) => { choose(p); set([]); tell(null); fail(""); };
  const finish = async (by: string) => {
    whose(false);
    try {
      tell(await ask<Outcome>("/api/calibration", AbortSignal.timeout(45e3), { probe, channel: point, points: taken, by }));
      set([]);
      again();
    } catch (e) {
      fail(e instanceof Refused ? e.message : words.notWritten);
    }
  };
  if (!at) return <p role="status">{failed ? (failed === "?" ? words.noAnswer : failed) : words.pageComes}</p>;
  return (
    <div class="walk">
      {points.length > 1 && (
        <div class="spans" role="group" aria-label={words.whichPoint}>
          {points.map((p) => <button key={p} aria-pressed={p === point} onClick={() => begin(p)}>{titleOf(p)}</button>)}
        </div>
      )}
      <p>{words.calibrateHow[at.method]}</p>
      <p class="now">{words.showsNow} {at.blind ? <b>{words.counts(Math.round(at.read))}</b> : <><b>{shown(at.shown)}</b> {at.unit}{at.method === "scale" && <span class="soft"> · {words.counts(Math.round(at.read))}</span>}</>}</p>
      <p role="status">{at.stands ? words.standsStill : sentence(at.why ?? "")}</p>
      {at.doubt && <p class="soft">{sentence(at.doubt)}</p>}
      <References key={point} at={at} take={(reference, celsius) => { tell(null); set([...taken, { reference, read: at.read, shown: at.shown, ...(at.blind && { blind: true }), ...(celsius !== undefined && { celsius }) }]); }} />
      {taken.length > 0 && <ol>{taken.map((t, i) => <li key={i}>{t.blind ? words.takenBlind(shown(t.reference), at.unit, words.counts(Math.round(t.read))) : words.takenPoint(shown(t.reference), shown(t.shown), off(t.shown - t.reference), at.unit)}</li>)}</ol>}
      {trouble && <p role="alert">{trouble}</p>}
      {done && <Result done={done} unit={at.unit} method={at.method} />}
      {taken.length > 0 && (asking ? <Who then={(n) => void finish(n)} cancel={() => whose(false)} /> : (
        <div class="act">
          <button class="main" onClick={() => (who ? void finish(who) : whose(true))}>{words.judgeIt}</button>
          <button onClick={() => begin(point)}>{words.startOver}</button>
        </div>
      ))}
    </div>
  );
}
