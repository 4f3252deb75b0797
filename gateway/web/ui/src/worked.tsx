// How a point is worked out that no probe gives: from what, by which formula, whose.
import { useBook } from "./books";
import { useHere } from "./context";
import { begins, list } from "./say";

interface Described { worked?: { from?: string[]; formula?: string; source?: string; when?: string } }

export function Worked({ point }: { point: string }) {
  const { frame, words } = useHere();
  const worked = useBook<Described>(`/api/points/${point}`).got?.worked;
  if (!worked) return null;
  const title = (name: string) => {
    const p = frame.plan.points.find((x) => x.name === name);
    const station = frame.stations.find((s) => s.name === name.split("/")[0]);
    const own = p?.title ?? name;
    return station && name.split("/")[0] !== point.split("/")[0] ? `${begins(station.title)} ${own}` : own;
  };
  return (
    <div class="worked">
      {worked.from && <p>{words.workedFrom(list(worked.from.map(title), words.and))}</p>}
      {worked.formula && <details><summary>{words.formula}</summary><p lang="en">{begins(worked.formula)}. {worked.source && `${begins(worked.source)}.`} {worked.when && `${begins(worked.when)}.`}</p></details>}
    </div>
  );
}
