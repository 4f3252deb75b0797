// One point: its course large, its limits, and where it comes from.
import { useHere } from "./context";
import { begins } from "./say";
import { LazyChart } from "./station";
import { Worked } from "./worked";
import { Figure, Go } from "./way";

export function PointPage({ point: name }: { point: string }) {
  const { frame, words } = useHere();
  const point = frame.plan.points.find((p) => p.name === name);
  if (!point) return <main><p>{words.notFound}</p></main>;
  const station = frame.stations.find((s) => s.name === point.station);
  return (
    <main class="point">
      <p class="back"><Go to={station ? `/station/${station.name}` : "/links"}>← {station ? begins(station.title) : words.links}</Go></p>
      <div class="title"><h1>{station ? `${begins(station.title)}: ` : ""}{station ? point.title : begins(point.title)}</h1><Figure point={point} beside={point.title} /></div>
      <LazyChart point={point} large />
      {point.computed && <Worked point={point.name} />}
      {(point.limits ?? []).length > 0 && (
        <section><h2>{words.limits}</h2><ul>{point.limits!.map((l) => <li class="row" key={l.alarm + l.text}><p>{words.chartLimit(l.title, l.text)}</p></li>)}</ul></section>
      )}
    </main>
  );
}
