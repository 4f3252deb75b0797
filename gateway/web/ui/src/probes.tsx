// The probes as they are fitted: which answer, what they said last, when they were held to a reference.
import { useState } from "preact/hooks";
import { useBook } from "./books";
import { Calibrate, mayCalibrate } from "./calibrate";
import { useHere } from "./context";
import { thingNamed } from "./names";
import { atWall, begins, length, reason, sentence } from "./say";
import { Figure, Go } from "./way";
import { mayWire, Wiring } from "./wiring";

interface Calibration { at: number; kind: string; channel?: string; points: string[]; who: string; note?: string }
interface Probe {
  name: string; title: string; part: string; bus: string; points: string[]; every: number; mounted?: string;
  heard?: number; raw?: string; fault?: string; misses?: number; checkEvery?: number; calibrations: Calibration[];
}

/** Raw words in pairs of digits, as a technician reads them; what a radio stick said is text. */
function raw(hex: string): string {
  const bytes = hex.match(/../g) ?? [];
  const text = String.fromCharCode(...bytes.map((b) => parseInt(b, 16)));
  return bytes.length > 0 && /^[\x20-\x7e]+$/.test(text) ? text : bytes.join(" ");
}

/** People are this probe: it answers when they come by. */
const readByHand = (p: Probe) => p.part === "by-hand";

/** A probe is silent when its last poll failed, or when nothing is known of any of its points: a radio stick that says nothing fails no poll. */
function useSilent(): (p: Probe) => boolean {
  const { frame } = useHere();
  return (p) => !readByHand(p) && (Boolean(p.fault) || p.points.length > 0 && p.points.every((n) => frame.values[n]?.quality === "bad"));
}

function useHealth(p: Probe): string {
  const { frame, now, words } = useHere();
  const isSilent = useSilent();
  if (readByHand(p)) return ""; // beside its points stands when they were read
  const age = p.heard ? length(now.mono - p.heard) : "";
  if (p.fault) return `${words.silent}${age ? `, ${words.heardLast(age)}` : ""}: ${p.fault}`;
  if (isSilent(p)) {
    const v = frame.values[p.points[0] ?? ""];
    return v ? reason(v, now, words) : words.neverHeard;
  }
  return age ? words.heardAgo(age) : words.neverHeard;
}

function useCheck(p: Probe): string {
  const { now, words } = useHere();
  const last = p.calibrations[0];
  if (!last) return p.checkEvery ? words.neverChecked : "";
  const checked = words.lastChecked(length(now.wall - last.at), last.who);
  if (!p.checkEvery) return checked;
  const left = last.at + p.checkEvery - now.wall;
  return `${checked} ${left > 0 ? words.nextCheck(length(left)) : words.checkOverdue(length(-left))}`;
}

function One({ probe, again }: { probe: Probe; again: () => void }) {
  const { frame, now, words } = useHere();
  const [walking, walk] = useState(false);
  // What is only on or off has no reference.
  const measured = probe.points.filter((name) => frame.plan.points.find((p) => p.name === name)?.unit);
  const health = useHealth(probe), check = useCheck(probe), isSilent = useSilent();
  return (
    <li class="row probe">
      <h2>{begins(probe.title === probe.name.replaceAll("-", " ") ? thingNamed(probe.name, frame).replaceAll("-", " ") : probe.title)}</h2>
      <p class="soft">{probe.part}{probe.bus && !readByHand(probe) ? ` · ${thingNamed(probe.bus, frame)}` : ""} · {words.everyTime(length(probe.every))}{probe.mounted ? ` · ${probe.mounted}` : ""}</p>
      <p>{isSilent(probe) ? <b>{sentence(health)}</b> : sentence(health)}{probe.misses ? ` ${words.missed(probe.misses)}` : ""}</p>
      <ul class="lines">
        {probe.points.map((name) => {
          const p = frame.plan.points.find((x) => x.name === name);
          if (!p) return null;
          return <li class="line short" key={name}><span class="name"><Go to={`/point/${name}`}>{begins(p.title)}</Go></span><Figure point={p} beside={p.title} /></li>;
        })}
      </ul>
      {probe.raw && <p class="soft">{words.rawWords} <code>{raw(probe.raw)}</code></p>}
      {check && <p class="soft">{check}</p>}
      {probe.calibrations.length > 0 && (
        <details>
          <summary>{words.calibrations} · {probe.calibrations.length}</summary>
          <div class="scrolls" tabIndex={0} role="region" aria-label={words.calibrations}>
            <table>
              <thead><tr><th scope="col">{words.whenIt}</th><th scope="col">{words.kindOfCheck}</th><th scope="col">{words.points}</th><th scope="col">{words.by}</th></tr></thead>
              <tbody>
                {probe.calibrations.map((c) => (
                  <tr key={c.at}><th scope="row">{atWall(c.at, now)}</th><td>{c.kind}</td><td>{c.points.map((t) => <div key={t}>{t}</div>)}</td><td>{c.who}{c.note ? `: ${c.note}` : ""}</td></tr>
                ))}
              </tbody>
            </table>
          </div>
        </details>
      )}
      {mayCalibrate() && measured.length > 0 && (
        <details onToggle={(e) => walk(e.currentTarget.open)}>
          <summary>{words.calibrate}</summary>
          {walking && <Calibrate probe={probe.name} points={measured} again={again} />}
        </details>
      )}
    </li>
  );
}

export function ProbesPage() {
  const { words } = useHere();
  const { got, failed, again } = useBook<Probe[]>("/api/probes", 5e3);
  const isSilent = useSilent();
  const silent = (got ?? []).filter(isSilent);
  const rest = (got ?? []).filter((p) => !isSilent(p));
  const wired = (got ?? []).filter((p) => !readByHand(p)).length;
  return (
    <main class="lists probes">
      <h1>{words.probes}</h1>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {wired > 0 && <p>{silent.length ? words.someSilent(silent.length, wired) : words.allAnswer(wired)}</p>}
      {got && mayWire() && <Wiring again={again} pointsOf={(name) => got.find((p) => p.name === name)?.points ?? []} />}
      <ul>{[...silent, ...rest].map((p) => <One key={p.name} probe={p} again={again} />)}</ul>
    </main>
  );
}
