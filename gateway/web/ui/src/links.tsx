// What the gateway is linked to, in sentences: said below every page.
import { useHere } from "./context";
import { length, moment, sentence } from "./say";
import type { Link } from "./types";

/** One link as a sentence. */
export function useSentence(): (l: Link) => string {
  const { now, words } = useHere();
  return (l) => {
    const kind = words.kinds[l.kind] ?? l.kind;
    if (l.kind === "clock") return words.clockStep((l.step ?? 0) < 0, length(Math.abs(l.step ?? 0)), moment(l.since ?? 0, now, words));
    const name = l.title && l.title !== kind ? `${kind} ${l.title}` : kind;
    if (!l.set) return l.kind === "watcher" ? words.noWatcher : sentence(words.noLink(kind.toLowerCase()));
    const waiting = l.waiting > 0 ? `, ${words.waits(l.waiting.toLocaleString(now.language))}` : "";
    if (l.works) return sentence(`${name}: ${words.answers}${waiting}`);
    const since = l.since ? ` ${words.since} ${moment(l.since, now, words)}` : "";
    const cause = l.cause ? `: ${l.cause}` : "";
    const kept = l.kind === "broker" || l.kind === "store" ? ` ${words.kept}` : "";
    return sentence(`${name} ${words.doesNot}${since}${cause}${waiting}`) + kept;
  };
}
