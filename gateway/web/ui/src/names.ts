// What the program wrote with the names of the rules file, in the names that people use: "deck-a/bean-temperature is 40.6 °C" is "Deck A bean temperature
// is 40.6 °C". What a person wrote is never brought here.
import type { Frame } from "./types";
import type { Words } from "./words/en";

/** Where the rule is written, at the end of why an alarm came or went. */
const written = /; (?:rule|regla) [a-z0-9-]+, [^;\s]+:\d+(?=\.?$)/;
const ofValue: [RegExp, (w: Words) => string][] = [
  [/value is bad; age\(value\) is|value: mala; age\(value\):/g, (w) => w.notReadFor],
  [/\bage\(value\)(?: is|:)/g, (w) => w.notReadFor],
  [/\bvalue\b/g, (w) => w.theReading],
];

/** The title of a station, or of a point with that of its station, by its name in the rules; "": there is none of that name. */
function titled(name: string, { plan, stations }: Frame): string {
  const [place = "", point] = name.split("/");
  const station = stations.find((s) => s.name === place)?.title;
  if (!station) return "";
  if (!point) return station;
  const own = plan.points.find((p) => p.name === name)?.title; // the page is not told of all points of the board
  return own ? `${station} ${own}` : "";
}

/** An alarm by its name and place in the rules, with its title: "bin 2 temperature: measurement lost". */
export function alarmNamed(id: string, title: string, frame: Frame): string {
  const [, place = ""] = id.split("@");
  return place ? `${titled(place, frame) || place.replaceAll("-", " ")}: ${title}` : title;
}

export function plainly(text: string, frame: Frame, words: Words): string {
  const { plan } = frame;
  let says = text.replace(written, "");
  for (const [what, by] of ofValue) says = says.replace(what, by(words));
  // rise(air-temperature, 2 min)
  says = says.replace(/\b(mean|highest|lowest|spread|rise)\(([a-z0-9/-]+), ([^)]+)\)/g, (_, how: string, name: string, long: string) => {
    const point = plan.points.find((p) => p.name === name || p.name.endsWith(`/${name}`));
    return `${point?.title ?? name} (${words.inWindow(words.windows[how] ?? how, long)})`;
  });
  return says.replace(/(^|[^\w/.@-])([a-z][a-z0-9-]*(?:[@/][a-z0-9/-]+)*)(?![\w@/])/g, (_, before: string, name: string) => {
    if (name.includes("@")) return before + alarmNamed(name, frame.alarms.find((a) => a.id === name)?.title ?? name.split("@")[0]!.replaceAll("-", " "), frame);
    return before + (/[/-]/.test(name) && (titled(name, frame) || ofStation(name, frame)) || name);
  }).replace(/\b(by|por) ([a-z0-9-]+)/g, (all, by: string, name: string) => {
    const person = plan.people.find((p) => p.name === name);
    return person ? `${by} ${person.title}` : all;
  });
}

/** What is no station, for people: a probe of a station by that station's title, a bus on the network by its address. */
export function thingNamed(name: string, frame: Frame): string {
  const address = /^tcp-(\d+)-(\d+)-(\d+)-(\d+)-(\d+)$/.exec(name);
  return address ? `TCP ${address.slice(1, 5).join(".")}:${address[5]}` : ofStation(name, frame) || name;
}

/** "tank-1-electrode", a probe that has its name from its station: "tank 1 electrode". */
function ofStation(name: string, { stations }: Frame): string {
  const at = stations.find((s) => name.startsWith(`${s.name}-`));
  return at ? `${at.title} ${name.slice(at.name.length + 1).replaceAll("-", " ")}` : "";
}
