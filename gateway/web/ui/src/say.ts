// How times, ages and readings are said. Pure: everything comes in as a parameter.
import type { Frame, Offset, Point, Value } from "./types";
import type { Words } from "./words/en";

/** A length of time in at most two neighbouring units: "45 s", "4 min", "17 h 40 min", "3 d 4 h". The units are the same in every language. */
export function length(ms: number): string {
  const s = Math.max(0, Math.round(ms / 1000));
  if (s < 60) return `${s} s`;
  const min = Math.floor(s / 60);
  if (min < 60) return `${min} min`;
  const h = Math.floor(min / 60);
  if (h < 24) return min % 60 ? `${h} h ${min % 60} min` : `${h} h`;
  const d = Math.floor(h / 24);
  return h % 24 ? `${d} d ${h % 24} h` : `${d} d`;
}

/** A length of time in one unit, rounded down, where there is no room for two: "17 h", "2 d". */
export function about(ms: number): string {
  const h = ms / 3600e3;
  return h < 1 ? length(ms) : h < 48 ? `${Math.floor(h)} h` : `${Math.floor(h / 24)} d`;
}

/** First letter as at the beginning of a sentence. Names of places come in small letters from the rules file. */
export function begins(text: string): string {
  if (/^[a-z][A-Z]|^[a-z0-9-]+\//.test(text)) return text; // pH, tank-1/ph
  return text.replace(/^[¿¡]?./, (first) => first.toLocaleUpperCase());
}

/** A list as a sentence has it: "Ana, Ben and Caro". */
export function list(names: readonly string[], and: string): string {
  if (names.length < 2) return names.join("");
  return `${names.slice(0, -1).join(", ")} ${and} ${names[names.length - 1]}`;
}

/** A text that ends as a sentence does. */
export function sentence(text: string): string {
  const t = begins(text.trim());
  return t === "" || /[.!?…]$/.test(t) ? t : `${t}.`;
}

/** Now: the clock of the gateway at the moment of drawing. */
export interface Now {
  mono: number;
  wall: number;
  set: boolean;
  zone: string;
  offsets: readonly Offset[];
  language: string;
}

/** The gateway's clock, carried on from its last word by the device's own. */
export function nowOf(frame: Frame, sinceArrived: number, language: string): Now {
  const passed = sinceArrived * frame.plan.speed;
  return { mono: frame.now + passed, wall: frame.wall + passed, set: frame.set, zone: frame.plan.site.zone, offsets: frame.plan.site.offsets ?? [], language };
}

const formats = new Map<string, Intl.DateTimeFormat>();

function format(now: Now, zone: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const key = `${now.language} ${zone} ${JSON.stringify(options)}`;
  let f = formats.get(key);
  if (!f) {
    // The day before the month, as on paper here and in Spanish.
    f = new Intl.DateTimeFormat(now.language === "en" ? "en-GB" : now.language, { timeZone: zone, hourCycle: "h23", ...options });
    formats.set(key, f);
  }
  return f;
}

/** A moment in the words of the language, by the site's clock. */
function print(wall: number, now: Now, options: Intl.DateTimeFormatOptions): string {
  const at = local(wall, now);
  return at === null ? format(now, now.zone, options).format(wall) : format(now, "UTC", options).format(at);
}

/** The site's clock as if it were UTC; null: its offset then is not known. A phone takes half a second to load a zone, and this none. */
function local(wall: number, now: Now): number | null {
  const o = now.offsets.find((x) => wall >= (x.from ?? -Infinity) && wall < (x.to ?? Infinity));
  return o ? wall + o.minutes * 60e3 : null;
}

/** A date whose own clock, the browser's, tells the hour of the site; null: the site's offset then is not known. */
export function asSite(wall: number, now: Now): Date | null {
  const at = local(wall, now);
  return at === null ? null : new Date(at + new Date(at).getTimezoneOffset() * 60e3);
}

/** The zone in which all hours of the page are: "America/Lima, UTC−5"; without the offset where it is not known. */
export function zoneOf(now: Now): string {
  const at = local(now.wall, now);
  if (at === null) return now.zone;
  const minutes = Math.round((at - now.wall) / 60e3), size = Math.abs(minutes), rest = size % 60;
  return `${now.zone}, UTC${minutes < 0 ? "−" : "+"}${Math.floor(size / 60)}${rest ? `:${String(rest).padStart(2, "0")}` : ""}`;
}

/** Hours and minutes at the site. */
export function hour(wall: number, now: Now): string {
  const at = local(wall, now);
  return at === null ? print(wall, now, { hour: "2-digit", minute: "2-digit" }) : new Date(at).toISOString().slice(11, 16);
}

function sameDay(a: number, b: number, now: Now): boolean {
  const x = local(a, now), y = local(b, now);
  if (x !== null && y !== null) return Math.floor(x / 86400e3) === Math.floor(y / 86400e3);
  const day: Intl.DateTimeFormatOptions = { year: "numeric", month: "2-digit", day: "2-digit" };
  return print(a, now, day) === print(b, now, day);
}

/** The day at the site: "Tue 9", or with its date where the days are many. */
export function dayOf(wall: number, now: Now, dated: boolean): string {
  return begins(print(wall, now, dated ? { day: "numeric", month: "short" } : { weekday: "short", day: "numeric" }));
}

/** The day at the site, whole: "Tuesday 9 June". */
export function longDay(wall: number, now: Now): string {
  return begins(print(wall, now, { weekday: "long", day: "numeric", month: "long" }));
}

/** A moment as people say it: "02:09" today, "Tue 18:02" within six days, else with the date. Without a clock, its age. */
export function moment(mono: number, now: Now, w: Words): string {
  if (!now.set) return w.ago(length(now.mono - mono));
  return atWall(now.wall - (now.mono - mono), now);
}

/** A moment with its date, for what lies days ahead: "Thu 24 Dec, 18:00". */
export function dated(wall: number, now: Now): string {
  return print(wall, now, { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}

/** A moment as a field of a form holds it, by the site's clock: "2026-12-24T18:00". */
export function field(wall: number, now: Now): string {
  const parts = new Intl.DateTimeFormat("en", { timeZone: now.zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" }).formatToParts(wall);
  const of = (type: string) => parts.find((p) => p.type === type)?.value ?? "";
  return `${of("year")}-${of("month")}-${of("day")}T${of("hour")}:${of("minute")}`;
}

export function atWall(wall: number, now: Now): string {
  if (sameDay(wall, now.wall, now) || Math.abs(now.wall - wall) < 12 * 3600e3) return hour(wall, now);
  if (Math.abs(now.wall - wall) < 6 * 86400e3) return `${print(wall, now, { weekday: "short" })} ${hour(wall, now)}`;
  return print(wall, now, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}

/** The hour at which somebody must act, for the left column: the day alone where it is far. */
export function dueAt(mono: number, now: Now, w: Words): string {
  const left = mono - now.mono;
  if (left <= 0) return w.now;
  if (!now.set) return `+${length(left)}`;
  const wall = now.wall + left;
  return left > 20 * 3600e3 ? begins(print(wall, now, { weekday: "short" })) : hour(wall, now);
}

/** What stands in place of the number while nothing is known: "silent 4 min", or the reason and for how long. */
export function reason(v: Value, now: Now, w: Words): string {
  const age = v.known ? ` ${length(now.mono - v.known)}` : "";
  const cause = v.cause ?? "";
  if (cause === "" || cause === "overdue" || cause === "silent") return `${w.silent}${age}`;
  if (cause === "cannot say yet") return w.cannotSayYet;
  return `${cause}${age}`;
}

/** "on" and "off", "yes" and "no" are words; numbers are the same in every language. */
export function number(v: { text: string }, w: Words): string {
  switch (v.text) {
    case "on": return w.on;
    case "off": return w.off;
    case "yes": return w.yes;
    case "no": return w.no;
  }
  return v.text;
}

/** A number that was counted or judged, with at most one decimal and the decimal point of all readings. */
export function figure(v: number): string {
  return String(Math.round(v * 10) / 10);
}

/** The unit, unless the name of the point says it already: "pH 4.05", not "pH 4.05 pH". */
export function unitBeside(title: string, unit: string): string {
  return title.toLowerCase() === unit.toLowerCase() ? "" : unit;
}

export function withUnit(text: string, unit: string): string {
  return unit ? `${text} ${unit}` : text;
}

/** A reading as a sentence for those who hear the page. */
export function spoken(p: Point, v: Value | undefined, now: Now, w: Words): string {
  if (!v) return w.never;
  if (v.quality === "bad") return reason(v, now, w);
  const band = p.normal ? `, ${w.normalRange(String(p.normal.low), String(p.normal.high))}` : "";
  const limits = (p.limits ?? []).map((l) => `, ${w.limit} ${l.text}`).join("");
  return withUnit(number(v, w), p.unit) + band + limits;
}
