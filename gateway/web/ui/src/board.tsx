// The pages of the links with the board's own points, and of the cautions.
import { useHere } from "./context";
import { useSentence } from "./links";
import { thingNamed } from "./names";
import { begins, hour, length, moment, number, withUnit, zoneOf } from "./say";
import type { Point } from "./types";

export function LinksPage() {
  const { frame, now, words } = useHere();
  const say = useSentence();
  return (
    <main class="lists linkspage">
      <h1>{words.links}</h1>
      <ul class="plainlist">{frame.links.map((l) => <li class="row" key={`${l.kind} ${l.name}`}><p>{say(l)}</p></li>)}</ul>
      <ClockAndPower />
      <Board />
      <p class="soft">{frame.roster.drill ? words.drill(moment(frame.roster.drill, now, words), frame.roster.drillBy ?? "") : words.noDrill}</p>
      {frame.plan.warnings > 0 && <p>{words.warnings(frame.plan.warnings)}</p>}
      <p class="soft">{words.version} {frame.plan.version} · {words.rules} {frame.plan.site.rules.slice(0, 12)}</p>
    </main>
  );
}

/** What hours and readings rest on: whether the board knows the time, and has the mains. */
function ClockAndPower() {
  const { frame, now, words } = useHere();
  const { site } = frame.plan, mains = frame.values[`${site.board}/mains`];
  return (
    <section>
      <h2>{words.clockAndPower}</h2>
      <p>{now.set ? words.clockRight(hour(now.wall, now), zoneOf(now)) : words.clockNotSet}</p>
      <p>{mains?.text === "on" ? words.mainsOn : mains?.text === "off" ? words.mainsOff : words.mainsUnwatched}</p>
    </section>
  );
}

/** Points that belong to no station: board, buses, channels, probes. Each thing is a row, with what is known of it in a sentence. */
function Board() {
  const { frame, now, words } = useHere();
  const own = frame.plan.points.filter((p) => !p.station);
  if (own.length === 0) return null;
  const things = [...new Set(own.map((p) => p.name.split("/")[0]!))];
  const said = (p: Point) => {
    const v = frame.values[p.name];
    return `${p.title}: ${!v || v.quality === "bad" ? v?.cause ? v.cause : words.never : withUnit(number(v, words), p.unit).replace(/ (?=\S+$)/, "\u00a0")}`; // a unit stays with its number
  };
  // Stations and channels have names for people; a bus has the one that stands in the rules.
  const called = (thing: string) => {
    const title = words.channels[thing] ?? words.kinds[thing] ?? thingNamed(thing, frame);
    return title === thing && !frame.links.some((l) => l.name === thing) ? title : begins(title);
  };
  return (
    <section class="parts">
      <h2>{`${words.kinds["board"]}: ${frame.plan.site.board}`}</h2>
      <dl class="board">
        {things.map((thing) => {
          const points = own.filter((p) => p.name.split("/")[0] === thing);
          const oldest = Math.min(...points.map((p) => frame.values[p.name]?.at ?? Infinity));
          return (
            <div key={thing}>
              <dt>{called(thing)}</dt>
              <dd>{points.map(said).join(" · ")} {oldest < Infinity && <span class="stay">{words.ago(length(now.mono - oldest))}</span>}</dd>
            </div>
          );
        })}
      </dl>
    </section>
  );
}

export function CautionsPage() {
  const { words } = useHere();
  return (
    <main class="lists cautionspage">
      <h1>{words.cautions}</h1>
      <p>{words.cautionIntro}</p>
      {words.cautionList.map(([signal, text]) => <p key={text} class="caution"><b>{signal}</b> {text}</p>)}
      <p><a href="/licences.txt">{words.licences}</a></p>
    </main>
  );
}
