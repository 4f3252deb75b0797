// Units by person: the gateway sends those of the estate; whoever prefers others has them turned here, numbers, limits, bands and courses alike.
// Sentences of the logbook stay as they were written.
import type { Band, Curve, Frame, Limit, Point, Value } from "./types";

export type Units = "site" | "metric" | "us";

interface Turn { by: number; add: number; unit: string }

// 1 lb is 0.45359237 kg and 1 °F is 5/9 K, both exactly [NIST SP 811, appendix B.8].
const poundKg = 0.45359237;
const toUs: Record<string, Turn> = {
  "°C": { by: 1.8, add: 32, unit: "°F" }, "K": { by: 1.8, add: 0, unit: "°F" }, "°C/min": { by: 1.8, add: 0, unit: "°F/min" },
  "°C/h": { by: 1.8, add: 0, unit: "°F/h" }, "kg": { by: 1 / poundKg, add: 0, unit: "lb" },
};
const toMetric: Record<string, Turn> = {
  "°F": { by: 1 / 1.8, add: -32 / 1.8, unit: "°C" }, "°F/min": { by: 1 / 1.8, add: 0, unit: "°C/min" }, "°F/h": { by: 1 / 1.8, add: 0, unit: "°C/h" },
  "lb": { by: poundKg, add: 0, unit: "kg" },
};

// °F is said of a temperature and of a difference of two; the latter has no zero to move.
const difference: Turn = { by: 1 / 1.8, add: 0, unit: "K" };
const differences = new Set<string>();

let chosen: Units = "site";
export function choose(u: Units): void { chosen = u; }

function turnOf(unit: string, point = ""): Turn | undefined {
  if (chosen === "metric" && unit === "°F" && differences.has(point)) return difference;
  return chosen === "us" ? toUs[unit] : chosen === "metric" ? toMetric[unit] : undefined;
}

const turned = (n: number, t: Turn) => n * t.by + t.add;

/** A printed number in the other unit, with as many decimals as it had. */
export function turnText(text: string, t: Turn): string {
  const n = Number(text);
  return text.trim() === "" || Number.isNaN(n) ? text : turned(n, t).toFixed((text.split(".")[1] ?? "").length);
}

/** "4.20 pH", "45.0 °C": number and unit. */
function turnAmount(text: string, unit: string, t: Turn): string {
  return text.endsWith(` ${unit}`) ? `${turnText(text.slice(0, -unit.length - 1), t)} ${t.unit}` : text;
}

function turnPoint(p: Point): Point {
  const t = turnOf(p.unit, p.name);
  if (!t) return p;
  const band = (b: Band): Band => ({ low: turned(b.low, t), high: turned(b.high, t) });
  const limit = (l: Limit): Limit => ({ ...l, value: turned(l.value, t), text: turnAmount(l.text, p.unit, t) });
  return { ...p, unit: t.unit, ...(p.range && { range: band(p.range) }), ...(p.normal && { normal: band(p.normal) }), ...(p.limits && { limits: p.limits.map(limit) }),
    ...(p.corrected && { corrected: { slope: p.corrected.slope, offset: turned(p.corrected.offset, t), zero: turned(p.corrected.zero, t) } }) };
}

const plans = new WeakMap<object, { units: Units; plan: Frame["plan"] }>();

/** Amounts within a sentence of the program: "tank-1/temperature is 24.1 °C, limit 22.0 °C". °F stays: nothing there tells a temperature from a difference. */
export function turnSentence(text: string): string {
  return chosen === "site" ? text : text.replace(/(-?\d+(?:\.\d+)?) (°[CF](?:\/min|\/h)?|K|kg|lb)(?![\w/])/g, (amount, n: string, unit: string) => {
    const t = unit === "°F" ? undefined : turnOf(unit);
    return t ? `${turnText(n, t)} ${t.unit}` : amount;
  });
}

/** What stands, in the units that the person at this device chose. */
export function inUnits(frame: Frame): Frame {
  if (chosen === "site") return frame;
  let known = plans.get(frame.plan);
  if (known?.units !== chosen) {
    differences.clear();
    for (const p of frame.plan.points) if (p.quantity === "difference") differences.add(p.name);
    known = { units: chosen, plan: { ...frame.plan, points: frame.plan.points.map(turnPoint) } };
    plans.set(frame.plan, known);
  }
  const values: Record<string, Value> = { ...frame.values };
  for (const p of frame.plan.points) {
    const t = turnOf(p.unit, p.name), v = values[p.name];
    if (t && v && v.number !== null) values[p.name] = { ...v, number: turned(v.number, t), text: turnText(v.text, t) };
  }
  const alarms = frame.alarms.map((a) => ({ ...a, because: turnSentence(a.because), values: a.values.map((v) => {
    const t = turnOf(v.unit, v.point);
    return t ? { ...v, unit: t.unit, text: turnText(v.text, t), ...(v.limit && { limit: turnText(v.limit, t) }) } : v;
  }) }));
  return { ...frame, plan: known.plan, values, alarms };
}

export function turnCurve(c: Curve): Curve {
  const t = turnOf(c.unit, c.point);
  if (!t) return c;
  const all = (list: number[]) => list.map((n) => turned(n, t));
  return { ...c, unit: t.unit, low: all(c.low), high: all(c.high), last: all(c.last) };
}

/** Weights come in kilograms, whatever the estate shows. */
export function weight(kg: number): string {
  return chosen === "us" ? `${Math.round(kg / poundKg)} lb` : `${kg} kg`;
}

/** What a person typed, in kilograms. */
export function kilograms(typed: number): number {
  return chosen === "us" ? Math.round(typed * poundKg * 100) / 100 : typed;
}

export function weightUnit(): string { return chosen === "us" ? "lb" : "kg"; }

/** What a document is asked with: language and units of who reads it. */
export function reader(language: string): string {
  return `?language=${language}${chosen === "site" ? "" : `&units=${chosen}`}`;
}
