// What stands in the language of the person. The gateway sends names of points and the texts of alarms as the rules have them; whoever reads Spanish has
// those turned here that are built in. Titles of the site, and what its rules say, stay in the site's words.
import pointNames from "../../../../rules/standard/es-points.txt";
import type { Alarm, Frame, Point, Prompt } from "./types";
import { pairs } from "./words/pairs";

const points = pairs(pointNames);
let standard: ReadonlyMap<string, string> = new Map();
let plans = new WeakMap<object, Frame["plan"]>();

/** Fetches what the language needs beside the words of the page; without it built-in texts stay English. */
export async function learn(language: string): Promise<void> {
  if (language !== "es" || standard.size > 0) return;
  standard = (await import("./words/standard")).standard;
  plans = new WeakMap();
}

/** A built-in text in the language; any other as it is. */
export function said(text: string, language: string): string {
  return language === "es" ? standard.get(text.toLowerCase()) ?? text : text;
}

/** The Spanish name of what is called so by default; "" where the site named it otherwise. */
function spanish(title: string, short: string): string {
  return title.toLowerCase().replaceAll(" ", "-") === short ? points.get(short.replaceAll("-", " ")) ?? "" : "";
}

const es = (text: string) => said(text, "es");

function turnedPoint(p: Point): Point {
  const limits = p.limits?.map((l) => ({ ...l, title: es(l.title) }));
  return { ...p, ...(limits && { limits }), title: spanish(p.title, p.name.split("/")[1] ?? "") || p.title };
}

/** Where something is: the station's title, with the name of the point where it is about one. */
function turnedPlace(title: string, place: string): string {
  const short = place.split("/")[1] ?? "", name = short.replaceAll("-", " ");
  return name && title.toLowerCase().endsWith(name) ? title.slice(0, title.length - name.length) + (points.get(name) ?? name) : title;
}

function turnedAlarm(a: Alarm): Alarm {
  const values = a.values.map((v) => ({ ...v, title: spanish(v.title, v.title.toLowerCase().replaceAll(" ", "-")) || v.title }));
  return {
    ...a, values, title: es(a.title), placeTitle: turnedPlace(a.placeTitle, a.place),
    cause: es(a.cause), consequence: es(a.consequence), action: es(a.action), caution: es(a.caution),
  };
}

function turnedPrompt(p: Prompt): Prompt {
  return { ...p, title: es(p.title), say: es(p.say) };
}

/** What stands, with all that is built in in the language of the person. */
export function inLanguage(frame: Frame, language: string): Frame {
  if (language !== "es") return frame;
  let plan = plans.get(frame.plan);
  if (!plan) {
    plan = { ...frame.plan, points: frame.plan.points.map(turnedPoint) };
    plans.set(frame.plan, plan);
  }
  return { ...frame, plan, alarms: frame.alarms.map(turnedAlarm), prompts: frame.prompts.map(turnedPrompt) };
}
