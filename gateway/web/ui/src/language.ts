// What stands in the language of the person. The gateway sends names of points, texts of alarms and what is written as they are in English or in the site's words; whoever reads Spanish has
// that turned here which is the program's. Titles of the site, what its rules say and what people wrote stay, but for what the site has translated itself.
import type { Alarm, Frame, Link, Point, Prompt, Translation } from "./types";

let points: ReadonlyMap<string, string> = new Map();
let turn = (text: string) => text;
let turnWord = turn;
let plans = new WeakMap<object, { language: string; plan: Frame["plan"] }>();

/** Fetches what the language needs beside the words of the page: names of points, then sentences; came is called after each. Without them those stay English. */
export async function learn(language: string, came: () => void): Promise<void> {
  if (language !== "es") return;
  points = (await import("./words/points")).points;
  plans = new WeakMap();
  came();
  const then = await import("./words/saying");
  turn = then.spanish;
  turnWord = then.spanishWord;
  plans = new WeakMap();
  came();
}

/** A text of the program in the language; any other as it is. */
export function said(text: string, language: string): string {
  return language === "es" ? turn(text) : text;
}

/** A word of the program, where a person may have written as well. */
export function saidWord(text: string, language: string): string {
  return language === "es" ? turnWord(text) : text;
}

/** The name of an alarm, a channel or a point as people say it, from its name in the rules. */
export function named(name: string, language: string): string {
  const spaced = name.replaceAll("-", " ");
  return language === "es" ? points.get(spaced) ?? turnWord(spaced) : spaced;
}

/** The Spanish name of what is called so by default; "" where the site named it otherwise. */
function spanish(title: string, short: string): string {
  return title.toLowerCase().replaceAll(" ", "-") === short ? points.get(short.replaceAll("-", " ")) ?? "" : "";
}

/** What the site itself says of an alarm or prompt in the language. */
export function ofSite(plan: Frame["plan"], name: string, language: string): Partial<Translation> {
  return plan.said?.find((t) => t.language === language && t.alarm === name.split("@")[0]) ?? {};
}

function turnedPoint(p: Point, plan: Frame["plan"], language: string): Point {
  const limits = p.limits?.map((l) => ({ ...l, title: ofSite(plan, l.alarm, language).title ?? said(l.title, language) }));
  return { ...p, ...(limits && { limits }), ...(language === "es" && { title: spanish(p.title, p.name.split("/")[1] ?? "") || p.title }) };
}

/** Where something is: the station's title, with the name of the point where it is about one. */
function turnedPlace(title: string, place: string): string {
  const short = place.split("/")[1] ?? "", name = short.replaceAll("-", " ");
  return name && title.toLowerCase().endsWith(name) ? title.slice(0, title.length - name.length) + (points.get(name) ?? name) : title;
}

/** Why it stands; of one that cannot be seen "tank-1/ph: no answer". */
function turnedReason(a: Alarm): string {
  const [point, cause] = a.held || a.cannotSee ? a.because.split(": ") : [];
  return point && cause ? `${point}: ${turn(cause)}` : turn(a.because);
}

function turnedAlarm(a: Alarm, plan: Frame["plan"], language: string): Alarm {
  const own = ofSite(plan, a.id, language);
  const texts = {
    title: own.title ?? said(a.title, language), cause: own.cause ?? said(a.cause, language), consequence: own.consequence ?? said(a.consequence, language),
    action: own.action ?? said(a.action, language), caution: own.caution ?? said(a.caution, language),
  };
  if (language !== "es") return { ...a, ...texts };
  const values = a.values.map((v) => ({ ...v, title: spanish(v.title, v.title.toLowerCase().replaceAll(" ", "-")) || turn(v.title) }));
  const calls = a.calls.map((c) => (c.fault ? { ...c, fault: turn(c.fault) } : c));
  return { ...a, ...texts, values, calls, placeTitle: turnedPlace(a.placeTitle, a.place), because: turnedReason(a) };
}

function turnedPrompt(p: Prompt, plan: Frame["plan"], language: string): Prompt {
  const own = ofSite(plan, p.id, language);
  return { ...p, title: own.title ?? said(p.title, language), say: own.say ?? said(p.say, language), detail: said(p.detail, language) };
}

function turnedLink(l: Link): Link {
  return { ...l, title: turnWord(l.title), ...(l.cause && { cause: turn(l.cause) }) };
}

function turnedPlan(plan: Frame["plan"], language: string): Frame["plan"] {
  const known = plans.get(plan);
  if (known?.language === language) return known.plan;
  const turned = { ...plan, points: plan.points.map((p) => turnedPoint(p, plan, language)), ...(plan.demo && { demo: said(plan.demo, language) }) };
  plans.set(plan, { language, plan: turned });
  return turned;
}

/** What stands, with all in the language of the person that the program or the site has in it. */
export function inLanguage(frame: Frame, language: string): Frame {
  const { plan } = frame;
  if (language !== "es" && !plan.said) return frame;
  return {
    ...frame, plan: turnedPlan(plan, language), alarms: frame.alarms.map((a) => turnedAlarm(a, plan, language)), prompts: frame.prompts.map((p) => turnedPrompt(p, plan, language)),
    ...(language === "es" && { links: frame.links.map(turnedLink) }),
  };
}
