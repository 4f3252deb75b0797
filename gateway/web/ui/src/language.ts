// Names of points by person: the gateway gives each point its name of the rules file; whoever reads Spanish has those turned here that the site gave no
// title of its own. Titles of the site, and what the rules say, stay in the site's words.
import type { Frame, Point } from "./types";
import { points } from "./words/points";

const plans = new WeakMap<object, Frame["plan"]>();

/** The Spanish name of what is called so by default; "" where the site named it otherwise. */
function spanish(title: string, short: string): string {
  return title.toLowerCase().replaceAll(" ", "-") === short ? points[short] ?? "" : "";
}

function turned(p: Point): Point {
  const title = spanish(p.title, p.name.split("/")[1] ?? "");
  return title ? { ...p, title } : p;
}

/** What stands, with its points named in the language of the person. */
export function inLanguage(frame: Frame, language: string): Frame {
  if (language !== "es") return frame;
  let plan = plans.get(frame.plan);
  if (!plan) {
    plan = { ...frame.plan, points: frame.plan.points.map(turned) };
    plans.set(frame.plan, plan);
  }
  const alarms = frame.alarms.map((a) => ({ ...a, values: a.values.map((v) => ({ ...v, title: spanish(v.title, v.title.toLowerCase().replaceAll(" ", "-")) || v.title })) }));
  return { ...frame, plan, alarms };
}
