// How much the alarms ask of people, against what is aimed at.
import { useState } from "preact/hooks";
import { useBook } from "./books";
import { useHere } from "./context";
import { alarmNamed } from "./names";
import { atWall, begins, figure } from "./say";

interface Figure { name: string; value: number; share?: boolean; most: number; ours?: boolean }
interface Count { alarm: string; title: string; times: number }
interface Rates { from: number; to: number; enough: boolean; figures: Figure[]; top: Count[]; chattering: Count[]; stale: Count[] }

const spans = [1, 7, 30, 90];

function Counts({ title, list }: { title: string; list: Count[] }) {
  const { frame } = useHere();
  if (list.length === 0) return null;
  return (
    <section>
      <h2>{title}</h2>
      <table><tbody>{list.map((c) => <tr key={c.alarm}><th scope="row">{begins(alarmNamed(c.alarm, c.title, frame))}</th><td>{c.times}</td></tr>)}</tbody></table>
    </section>
  );
}

export function RatesPage() {
  const { now, words } = useHere();
  const [days, setDays] = useState(30);
  const { got, failed } = useBook<Rates>(`/api/rates?days=${days}`);
  const said = (f: Figure, v: number) => (f.share ? `${(100 * v).toFixed(1)} %` : figure(v));
  return (
    <main class="lists rates">
      <h1>{words.rates}</h1>
      <p class="soft">{words.ratesAre}</p>
      <div class="spans" role="group" aria-label={words.stretch}>
        {spans.map((d) => <button key={d} aria-pressed={d === days} onClick={() => setDays(d)}>{words.days(d)}</button>)}
      </div>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {got && (
        <>
          <p class="whole">{words.sinceThen(atWall(got.from, now))} {!got.enough && words.tooShort}</p>
          <section><table>
            <thead><tr><th scope="col">{words.figure}</th><td>{words.value}</td><td>{words.goal}</td></tr></thead>
            <tbody>
              {got.figures.map((f) => {
                const over = f.most >= 0 && f.value > f.most;
                return (
                  <tr key={f.name}>
                    <th scope="row">{words.rateNames[f.name] ?? f.name}</th>
                    <td>{over ? <b>{said(f, f.value)}<span class="stay">{words.over}</span></b> : said(f, f.value)}</td>
                    <td class="soft">{f.most < 0 ? "" : f.most === 0 ? words.none : words.atMost(said(f, f.most))}</td>
                  </tr>
                );
              })}
            </tbody>
          </table></section>
          <div>
          <Counts title={words.mostFrequent} list={got.top} />
          <Counts title={words.chattering} list={got.chattering} />
          <Counts title={words.standLong} list={got.stale} />
          </div>
        </>
      )}
    </main>
  );
}
