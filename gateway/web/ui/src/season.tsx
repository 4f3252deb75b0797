// The season for the owner: when coffee was foreseen to be ready and when it was, what each lot gave, and for how long it stood in danger.
import { useBook } from "./books";
import { useHere } from "./context";
import { atWall, begins, figure, length, list } from "./say";
import { weight } from "./units";

interface Forecast { part: number; ready: number; off: number; held: boolean }
interface Wait { lot: string; station: string; kind: string; from: number; ready?: number; forecasts: Forecast[] }
interface Yield { cherry?: number; dry?: number; green?: number; outturn?: number }
interface SeasonLot { lot: string; began: number; yield: Yield; alarms: number; danger: number; worst: { alarm: string; long: number }[] }
interface Judged { forecasts: number; median: number; worst: number; held: number }
interface Learned { stations: string[]; tanks: number; usual: number; ready: number; early: number; late: number; reference: number }
interface Dried { stations: string[]; layers: number; took: number; early: number; late: number }
interface Season { from: number; to: number; waits: Wait[]; lots: SeasonLot[]; wash: Judged; dry: Judged; learned: Learned[]; dried: Dried[] }

const half = 50;

/** A weight that stays on one line. */
const whole = (text: string) => text.replace(" ", "\u00a0");

function Said({ name, judged }: { name: string; judged: Judged }) {
  const { words } = useHere();
  return <p><b>{name}</b> {judged.forecasts === 0 ? words.seasonNoForecast : words.seasonJudged(judged.forecasts, length(judged.median), length(judged.worst), judged.held)}</p>;
}

function Waits({ waits }: { waits: Wait[] }) {
  const { frame, now, words } = useHere();
  const titled = (name: string) => frame.stations.find((s) => s.name === name)?.title ?? name;
  const of = (w: Wait) => w.forecasts.find((x) => x.part === half);
  const told = waits.filter((w) => w.ready || of(w)); // of the others nothing is known to compare
  const off = (f: Forecast) => `${words.seasonOff(length(Math.abs(f.off)), f.off)}${f.held ? "" : ` · ${words.seasonOutside}`}`;
  return (
    <section>
      <h2>{words.seasonReady}</h2>
      <table>
        <thead><tr><th scope="col">{begins(words.lot)}</th><td>{words.seasonForeseen}</td><td>{words.seasonCame}</td><td>{words.seasonDiffers}</td></tr></thead>
        <tbody>
          {told.map((w) => {
            const f = of(w);
            return (
              <tr key={`${w.lot} ${w.station} ${w.from}`}>
                <th scope="row">{w.lot} <span class="soft">{titled(w.station)}</span></th>
                <td>{f ? atWall(f.ready, now) : words.seasonNone}</td>
                <td>{w.ready ? atWall(w.ready, now) : words.seasonNotSeen}</td>
                <td>{f && w.ready ? off(f) : ""}</td>
              </tr>
            );
          })}
        </tbody>
      </table>
      {told.length < waits.length && <p class="soft">{words.seasonRest(waits.length - told.length)}</p>}
    </section>
  );
}

function Lots({ lots }: { lots: SeasonLot[] }) {
  const { words } = useHere();
  const told = lots.filter((l) => l.alarms > 0 || l.yield.cherry || l.yield.green || l.yield.outturn);
  const number = (v: number | undefined, unit: string) => (v ? `${figure(v)} ${unit}` : "–");
  return (
    <section>
      <h2>{words.seasonLots}</h2>
      <table>
        <thead><tr><th scope="col">{begins(words.lot)}</th><td>{words.seasonCherry}</td><td>{words.seasonGreen}</td><td>{words.seasonOutturn}</td><td>{words.seasonDanger}</td></tr></thead>
        <tbody>
          {told.map((l) => (
            <tr key={l.lot}>
              <th scope="row">{l.lot}</th>
              <td>{l.yield.cherry ? whole(weight(Math.round(l.yield.cherry))) : "–"}</td>
              <td>{l.yield.green ? whole(weight(Math.round(l.yield.green))) : "–"}</td>
              <td>{number(l.yield.outturn, "%")}</td>
              <td>{l.alarms === 0 ? words.none : <>{length(l.danger)}<span class="stay">{words.seasonAlarms(l.alarms)}</span></>}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {told.length < lots.length && <p class="soft">{words.seasonRestLots(lots.length - told.length)}</p>}
    </section>
  );
}

export function SeasonPage() {
  const { frame, now, words } = useHere();
  const { got, failed } = useBook<Season>("/api/season");
  const titled = (name: string) => frame.stations.find((s) => s.name === name)?.title ?? name;
  return (
    <main class="lists rates season">
      <h1>{words.season}</h1>
      <p class="soft">{words.seasonIs}</p>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {got && (
        <>
          <p class="whole">{words.sinceThen(atWall(got.from, now))} <a href="/api/season.csv">CSV</a></p>
          <Said name={words.seasonWash} judged={got.wash} />
          <Said name={words.seasonDry} judged={got.dry} />
          {got.learned.filter((l) => l.tanks > 0).map((l) => <p key={l.stations.join()}>{words.seasonLearned(begins(list(l.stations.map(titled), words.and)), l.tanks, length(l.usual), length(l.ready))}</p>)}
          {got.dried.map((d) => <p key={d.stations.join()}>{words.seasonDried(begins(list(d.stations.map(titled), words.and)), d.layers, length(d.took), length(d.early), length(d.late))}</p>)}
          {got.waits.length > 0 && <Waits waits={got.waits} />}
          {got.lots.length > 0 ? <Lots lots={got.lots} /> : <p>{words.noneOfThese}</p>}
        </>
      )}
    </main>
  );
}
