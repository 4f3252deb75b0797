// When a station will be free, by its forecast; and who then waits for whom. Pure.
import type { Frame, Station } from "./types";

/** Names of the points that forecast the end of a stay, by kind of station. */
const ends: Record<string, string> = { tank: "wash-in", deck: "drying-in", dryer: "drying-in", roaster: "drop-in" };

/** The name of the point that forecasts the end of what stands there; "": nothing does, or nothing stands there. */
export function endOf(station: Station): string {
  const name = station.loaded ? ends[station.kind] : undefined;
  return name ? `${station.name}/${name}` : "";
}

/** Wall times in milliseconds. early and late are those of the interval, equal to at where there is none. */
export interface Forecast { at: number; early: number; late: number; unsure: boolean }

/** The forecast end of what stands at the station; null: none, or it cannot say yet. */
export function forecastOf(frame: Frame, station: Station): Forecast | null {
  const name = endOf(station);
  if (!name) return null;
  const at = (suffix: string) => {
    const v = frame.values[name + suffix];
    return v && v.quality !== "bad" && v.number !== null && v.at ? frame.wall - (frame.now - v.at) + v.number * 1000 : null;
  };
  const end = at("");
  if (end === null) return null;
  return { at: end, early: at("-early") ?? end, late: at("-late") ?? end, unsure: frame.values[name]?.quality === "uncertain" };
}

/** A lot that is ready before there is a place for it. free is 0 where nobody knows when there will be one. */
export interface Wait { lot: string; from: Station; to: Station | null; kinds: string[]; ready: number; free: number }

const after: Record<string, string[]> = { tank: ["deck", "dryer"], deck: ["bin"], dryer: ["bin"] };

/** Who waits: each lot whose end is forecast takes the first place that is free by then, in the order in which they are ready. */
export function waitsOf(frame: Frame): Wait[] {
  const wall = frame.wall;
  const free = new Map(frame.stations.map((s) => [s.name, s.loaded ? forecastOf(frame, s)?.at ?? Infinity : wall]));
  const ready = frame.stations
    .map((s) => ({ s, end: s.lot ? forecastOf(frame, s) : null }))
    .filter((r) => r.end && after[r.s.kind])
    .sort((a, b) => a.end!.at - b.end!.at);
  const waiting: Wait[] = [];
  for (const { s, end } of ready) {
    const kinds = after[s.kind]!;
    const places = frame.stations.filter((p) => kinds.includes(p.kind));
    if (places.length === 0) continue;
    const first = places.reduce((a, b) => (free.get(b.name)! < free.get(a.name)! ? b : a));
    const at = free.get(first.name)!;
    if (at > end!.at + 30 * 60e3) {
      waiting.push({ lot: s.lot!, from: s, to: at === Infinity ? null : first, kinds, ready: Math.max(wall, end!.at), free: at === Infinity ? 0 : at });
    }
    if (at !== Infinity) free.set(first.name, Infinity); // taken; when it is free again, nobody has forecast
  }
  return waiting;
}
