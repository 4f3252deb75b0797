// The alarm register: what is watched, at which limit, why, and what a person should do. The rules file is the record; this is how it reads.
import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { useBook } from "./books";
import { useHere } from "./context";
import { begins, length, list } from "./say";
import { thingNamed } from "./names";
import type { Frame, Priority } from "./types";

interface Registered {
  name: string; kind: "alarm" | "prompt"; title: string; places: string[]; priority?: Priority; class?: string; when: string; while?: string; limits: string[];
  onDelay?: number; offDelay?: number; latching?: boolean; cause?: string; consequence?: string; action: string; caution?: string;
  respondWithin?: number; shelvable?: number; call: string[]; source?: string; written: string;
}

/** Square, diamond, ring with its letter, as on the alarms themselves. */
export function PriorityMark({ priority }: { priority: Priority }) {
  const { words } = useHere();
  return (
    <svg class={`mark ${priority}`} viewBox="0 0 24 28" role="img" aria-label={words.priorities[priority]}>
      {priority === "high" && <rect class="shape" x="2" y="2" width="20" height="20" />}
      {priority === "medium" && <path class="shape" d="M12 0.8 L23.2 12 L12 23.2 L0.8 12 Z" />}
      {priority === "low" && <circle class="shape" cx="12" cy="12" r="10" />}
      <text x="12" y="16.6" text-anchor="middle">{words.letters[priority]}</text>
    </svg>
  );
}

function One({ r }: { r: Registered }) {
  const { words } = useHere();
  // Conditions, limits and their sources are the rules' own words, in whatever language the page is.
  const own = (text: string | undefined) => text && <span lang="en">{text}</span>;
  const rows: [string, ComponentChildren][] = [
    [words.comesWhen, <>{own(r.when)}{r.onDelay ? `, ${words.forAtLeast(length(r.onDelay))}` : ""}</>],
    [words.onlyWhile, own(r.while)],
    [words.where, r.places.length > 5 ? list(r.places, words.and) : ""],
    [words.limits, own(r.limits.join(" · "))],
    [words.causeOfIt, r.cause],
    [words.otherwise, r.consequence],
    [words.caution, r.caution],
    [words.whatToDo, r.action],
    [words.actWithin, r.respondWithin ? length(r.respondWithin) : ""],
    [words.shelvedAtMost, r.kind === "alarm" ? (r.shelvable ? length(r.shelvable) : words.neverShelved) : ""],
    [words.callsWhom, r.call.join(", ")],
    [words.resetBy, r.latching ? words.resetByHand : ""],
    [words.sourceOfIt, own(r.source)],
    [words.writtenAt, r.written],
  ];
  return (
    <details class="row">
      <summary>{r.priority && <PriorityMark priority={r.priority} />}<span><b>{begins(r.title)}</b> <span class="soft">{r.places.length > 5 ? `${r.places.slice(0, 3).join(", ")} ${words.andMore(r.places.length - 3)}` : list(r.places, words.and)}</span></span></summary>
      <dl>{rows.filter(([, text]) => text).map(([name, text]) => <div key={name}><dt>{name}</dt><dd>{text}</dd></div>)}</dl>
    </details>
  );
}

/** Points and the board as the gateway names their places, and as the person's language does: "tank 1 ph" is "tank 1 pH". */
function placesOf({ plan, stations }: Frame): Map<string, string> {
  return new Map(plan.points.flatMap((p): [string, string][] => {
    const station = stations.find((s) => s.name === p.station)?.title;
    return station ? [[`${station} ${p.name.split("/")[1]?.replaceAll("-", " ")}`, `${station} ${p.title}`]] : [];
  }));
}

export function RegisterPage() {
  const { frame, words } = useHere();
  const { got: sent, failed } = useBook<Registered[]>("/api/register");
  const placed = placesOf(frame);
  const got = sent?.map((r) => ({ ...r, places: r.places.map((p) => placed.get(p) ?? thingNamed(p, frame)) }));
  const [typed, type] = useState("");
  const seen = (got ?? []).filter((r) => JSON.stringify(r).toLowerCase().includes(typed.trim().toLowerCase()));
  const of = (p: Priority) => seen.filter((r) => r.priority === p);
  const prompts = seen.filter((r) => r.kind === "prompt");
  const group = (name: string, some: Registered[]) => some.length > 0 && (
    <section><h2>{name} · {some.length}</h2>{some.map((r) => <One key={r.written + r.places.join()} r={r} />)}</section>
  );
  return (
    <main class="lists register">
      <h1>{words.register}</h1>
      <p class="soft">{words.registerIs}</p>
      <form class="search" role="search" onSubmit={(e) => e.preventDefault()}>
        <label>{words.searchFor}<input type="search" value={typed} onInput={(e) => type(e.currentTarget.value)} /></label>
      </form>
      {failed && <p role="alert">{failed === "?" ? words.noAnswer : failed}</p>}
      {got && seen.length === 0 && <p>{words.nothingFound}</p>}
      {group(words.priorities.high, of("high"))}
      {group(words.priorities.medium, of("medium"))}
      {group(words.priorities.low, of("low"))}
      {group(words.prompts, prompts)}
    </main>
  );
}
