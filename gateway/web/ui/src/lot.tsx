// One lot: where it stands, when it is ready, which way it came, and what stands of it in the record.
import { useBook, type Stay, type WayOfLots } from "./books";
import { useHere } from "./context";
import { forecastOf } from "./forecast";
import { atWall, begins, length, list } from "./say";
import { reader, weight } from "./units";
import { Go } from "./way";

/** How far back a lot is looked for: from cherry to the roasted store. */
const reach = 400 * 86400e3;

/** Each stay with what went in and came out, by whom, under the times: three columns stand on a phone too. */
function Stays({ stays }: { stays: Stay[] }) {
  const { frame, now, words } = useHere();
  const title = (name: string) => begins(frame.stations.find((s) => s.name === name)?.title ?? name);
  const weighed = (kg?: number) => (kg ? weight(kg) : "");
  return (
    <table class="stays">
      <thead><tr><th scope="col">{words.where}</th><th scope="col">{words.from}</th><th scope="col">{words.to}</th></tr></thead>
      <tbody>
        {stays.map((s) => (
          <tr key={s.from}>
            <th scope="row"><Go to={`/station/${s.station}${s.to ? `?from=${s.from}&to=${s.to}` : ""}`}>{title(s.station)}</Go><span class="stay">{length((s.to ?? now.wall) - s.from)}</span>{s.note && <span class="stay">{s.note}</span>}</th>
            <td>{atWall(s.from, now)}<span class="stay">{[weighed(s.kg), s.who].filter(Boolean).join(" · ")}</span></td>
            <td>{s.to ? atWall(s.to, now) : words.stillThere}<span class="stay">{[weighed(s.unloaded), s.emptiedBy].filter(Boolean).join(" · ")}</span></td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

export function LotPage({ lot }: { lot: string }) {
  const { frame, now, words } = useHere();
  const q = new URLSearchParams({ from: new Date(Math.floor((now.wall - reach) / 3600e3) * 3600e3).toISOString(), to: new Date(Math.ceil(now.wall / 3600e3) * 3600e3).toISOString() });
  const { got, failed } = useBook<WayOfLots>(`/api/way?${q.toString()}`, 60e3);
  const stays = (got?.stays ?? []).filter((s) => s.lot === lot);
  const standing = frame.stations.filter((s) => s.lot === lot);
  const ends = standing.map((s) => forecastOf(frame, s)).find(Boolean);
  return (
    <main class="lists">
      <p class="back"><Go to="/lots">← {words.wayOfLots}</Go></p>
      <h1>{words.lotWas(lot)}</h1>
      <p>{standing.length ? words.lotStandsAt(list(standing.map((s) => s.title), words.and)) : words.lotGone}</p>
      {ends && <p class="answer">{words.forecastEnds(atWall(ends.at, now), atWall(ends.early, now), atWall(ends.late, now))}</p>}
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {stays.length > 0 && (
        <p class="links"><a href={`/book/${encodeURIComponent(lot)}`}>{words.lotEnter}</a> <a href={`/api/lots/${encodeURIComponent(lot)}/record${reader(now.language)}`}>{words.lotRecord}</a> <a href={`/api/lots/${encodeURIComponent(lot)}/record.csv${reader(now.language)}`}>{words.lotTable}</a></p>
      )}
      {got && (stays.length ? <section><h2>{words.stays}</h2><Stays stays={stays} /></section> : <p>{words.lotUnknown}</p>)}
    </main>
  );
}
