// Draws one course: normal band and limits behind it, gaps as gaps, uncertain stretches dashed, what is compared thin, the forecast as a hatched
// stretch right of now, alarms and acts as marks on the edge.
import uPlot from "uplot";
import type { Mark } from "./books";
import { gapAfter, measured } from "./curve";
import { joined } from "./marks";
import type { Forecast } from "./forecast";
import { letters } from "./room";
import type { Curve, Point } from "./types";

/** All that is drawn. Times are Unix seconds unless said otherwise. */
export interface Drawing {
  point: Point;
  curve: Curve;
  from: number;
  to: number;
  now: number;
  /** Another night, moved onto this one by so many seconds. */
  beside: { curve: Curve; shift: number } | null;
  /** The same course without the correction of the probe. */
  raw: ((v: number) => number) | null;
  forecast: Forecast | null;
  marks: Mark[];
  /** When people did something. */
  acts: number[];
  letters: Record<string, string>;
  hour: (wall: number) => string;
  moment: (wall: number) => string;
  /** The moment by the site's clock; null: not known, the browser is to ask its zones, which is slow. */
  site: (wall: number) => Date | null;
  zone: string;
}

/** Columns of uPlot: time, lowest, highest, certain, uncertain. A null ends a line. */
function columns(c: Curve): uPlot.AlignedData {
  const t: number[] = [], low: (number | null)[] = [], high: (number | null)[] = [], sure: (number | null)[] = [], unsure: (number | null)[] = [];
  const gap = gapAfter(c);
  for (const [i, time] of c.time.entries()) {
    const before = c.time[i - 1];
    if (before !== undefined && time - before > gap) {
      t.push((before + time) / 2);
      for (const column of [low, high, sure, unsure]) column.push(null);
    }
    t.push(time);
    low.push(c.low[i]!);
    high.push(c.high[i]!);
    const doubtful = c.uncertain[i]!;
    // The dashed line begins at the last certain column, so that the two meet.
    if (doubtful && unsure.length > 0 && unsure[unsure.length - 1] === null) unsure[unsure.length - 1] = sure[sure.length - 1] ?? null;
    sure.push(doubtful ? null : c.last[i]!);
    unsure.push(doubtful ? c.last[i]! : null);
  }
  return [t, low, high, sure, unsure];
}

function ink(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

function scaleOf({ point, curve: c, beside, raw }: Drawing): [number, number] {
  const marks = [...(point.limits ?? []).map((l) => l.value), ...(point.normal ? [point.normal.low, point.normal.high] : [])];
  const others = [...(beside?.curve.last ?? []), ...(raw ? c.last.map(raw) : [])];
  const low = Math.min(...c.low, ...others, ...marks), high = Math.max(...c.high, ...others, ...marks);
  const room = (high - low || 1) * 0.08;
  return [low - room, high + room];
}

/** The limits as strokes, and what they are called: those of one value together, none upon another. What finds no room is said below the drawing. */
function limits(point: Point, u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio * letters();
  const at = (v: number) => u.valToPos(v, "y", true);
  ctx.strokeStyle = ctx.fillStyle = ink("ink");
  ctx.lineWidth = 1.4 * px;
  ctx.font = `${13 * px}px system-ui, sans-serif`;
  const called = new Map<string, { value: number; above: boolean; names: string[] }>();
  for (const l of point.limits ?? []) {
    ctx.beginPath();
    ctx.moveTo(left, at(l.value));
    ctx.lineTo(left + width, at(l.value));
    ctx.stroke();
    const one = called.get(l.text) ?? { value: l.value, above: l.above, names: [] };
    if (!one.names.includes(l.title)) one.names.push(l.title);
    called.set(l.text, one);
  }
  const taken: number[] = [], lines = (point.limits ?? []).map((l) => at(l.value)); // heights at which a name stands; those of the strokes
  for (const [text, l] of called) {
    let names = l.names;
    const whole = () => `${text} ${names.join(", ")}`;
    while (names.length > 1 && ctx.measureText(whole()).width > width - 10 * px) names = names.slice(0, -1);
    const over = at(l.value) - 6 * px, under = at(l.value) + 16 * px;
    const free = (l.above ? [over, under] : [under, over]).find((y) => y - 12 * px > top - 8 * px && y < top + height - 2 * px && taken.every((t) => Math.abs(t - y) > 17 * px) && !lines.some((line) => line > y - 11 * px && line < y + 3 * px));
    if (free === undefined || ctx.measureText(whole()).width > width - 10 * px) continue;
    taken.push(free);
    ctx.fillText(whole(), left + 4 * px, free);
  }
}

/** Draws what lies behind the curve: normal band, limits with their names, and stretches in which nothing is known. */
function behind({ point, curve: c }: Drawing, u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio * letters();
  const y = (v: number) => u.valToPos(v, "y", true);
  const inside = (v: number) => Math.max(top, Math.min(top + height, v));
  ctx.save();
  if (point.normal) {
    ctx.fillStyle = ink("norm");
    const from = inside(y(point.normal.high));
    ctx.fillRect(left, from, width, inside(y(point.normal.low)) - from);
  }
  ctx.strokeStyle = ink("soft");
  ctx.lineWidth = px;
  for (const b of c.bad) {
    const from = Math.max(left, u.valToPos(b.from, "x", true)), to = Math.min(left + width, u.valToPos(b.to, "x", true));
    ctx.beginPath();
    for (let x = from; x < to; x += 6 * px) {
      ctx.moveTo(x, top + height);
      ctx.lineTo(Math.min(to, x + 4 * px), top + height - 10 * px);
    }
    ctx.stroke();
  }
  limits(point, u);
  ctx.restore();
}

/** Decimals that tell neighbouring ticks apart. */
function decimalsOf(ticks: readonly number[]): number {
  for (let d = 0; d < 4; d++) {
    if (ticks.every((t) => Math.abs(t * 10 ** d - Math.round(t * 10 ** d)) < 1e-6)) return d;
  }
  return 4;
}

/** A line through columns, lifted over gaps. */
function trace(u: uPlot, c: Curve, shift: number, value: (i: number) => number): void {
  const gap = gapAfter(c);
  u.ctx.beginPath();
  for (const [i, t] of c.time.entries()) {
    const x = u.valToPos(t + shift, "x", true), y = u.valToPos(value(i), "y", true);
    if (i === 0 || t - c.time[i - 1]! > gap) u.ctx.moveTo(x, y);
    else u.ctx.lineTo(x, y);
  }
  u.ctx.stroke();
}

/** What is compared lies behind the course itself: another night dashed, the uncorrected course thin. */
function others(d: Drawing, u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio * letters();
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, width, height);
  ctx.clip();
  ctx.strokeStyle = ink("soft");
  ctx.lineWidth = 1.6 * px;
  if (d.beside) {
    ctx.setLineDash([7 * px, 4 * px]);
    trace(u, d.beside.curve, d.beside.shift, (i) => d.beside!.curve.last[i]!);
  }
  if (d.raw) {
    ctx.setLineDash([1.5 * px, 3 * px]);
    trace(u, d.curve, 0, (i) => d.raw!(d.curve.last[i]!));
  }
  ctx.restore();
}

/** The stretch in which the stay ends, by the forecast, with its likeliest moment. */
function ahead(d: Drawing, u: uPlot): void {
  if (!d.forecast) return;
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio * letters();
  const at = (wall: number) => Math.max(left, Math.min(left + width, u.valToPos(wall / 1000, "x", true)));
  const from = at(d.forecast.early), to = at(d.forecast.late), mid = at(d.forecast.at);
  if (mid <= left || mid >= left + width || d.forecast.at / 1000 < d.now + (d.to - d.from) * 0.02) return;
  ctx.save();
  ctx.beginPath();
  ctx.rect(from, top, Math.max(2 * px, to - from), height);
  ctx.clip();
  ctx.strokeStyle = ink("soft");
  ctx.lineWidth = px;
  ctx.globalAlpha = 0.6;
  ctx.beginPath();
  for (let x = from - height; x < to; x += 7 * px) {
    ctx.moveTo(x, top + height);
    ctx.lineTo(x + height, top);
  }
  ctx.stroke();
  ctx.restore();
  ctx.save();
  ctx.strokeStyle = ctx.fillStyle = ink("ink");
  ctx.lineWidth = 1.6 * px;
  ctx.setLineDash([4 * px, 3 * px]);
  ctx.beginPath();
  ctx.moveTo(mid, top);
  ctx.lineTo(mid, top + height);
  ctx.stroke();
  ctx.font = `600 ${13 * px}px system-ui, sans-serif`;
  const text = d.hour(d.forecast.at), wide = ctx.measureText(text).width;
  ctx.fillStyle = ink("paper");
  ctx.fillRect(mid - wide / 2 - 4 * px, top + 2 * px, wide + 8 * px, 18 * px);
  ctx.fillStyle = ink("ink");
  ctx.textAlign = "center";
  ctx.fillText(text, mid, top + 15 * px);
  ctx.restore();
}

/** Now is an ink stroke over the whole height; alarms stand on the upper edge, what people did on the lower. */
function edges(d: Drawing, u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio * letters();
  const inside = (x: number) => x >= left - px && x <= left + width + px;
  ctx.save();
  ctx.setLineDash([]); // the last line drawn was the dashed one
  ctx.strokeStyle = ink("ink");
  ctx.lineWidth = 2 * px;
  const now = u.valToPos(d.now, "x", true);
  ctx.beginPath();
  if (inside(now)) {
    ctx.moveTo(now, top - 8 * px);
    ctx.lineTo(now, top + height + 6 * px);
  }
  for (const t of d.acts) {
    const x = u.valToPos(t / 1000, "x", true);
    if (!inside(x)) continue;
    ctx.moveTo(x, top + height);
    ctx.lineTo(x, top + height - 9 * px);
  }
  ctx.stroke();
  ctx.font = `700 ${11 * px}px system-ui, sans-serif`;
  ctx.textAlign = "center";
  ctx.textBaseline = "alphabetic"; // the axes left it at theirs
  for (const { mark: m, count } of joined(d.marks, (m) => u.valToPos(m.at / 1000, "x", true), 34 * px)) {
    const x = u.valToPos(m.at / 1000, "x", true), y = top + 8 * px, r = 7 * px;
    if (!inside(x)) continue;
    ctx.beginPath();
    if (m.priority === "high") ctx.rect(x - r, y - r, 2 * r, 2 * r);
    else if (m.priority === "medium") for (const [dx, dy] of [[0, -r - px], [r + px, 0], [0, r + px], [-r - px, 0]] as const) ctx.lineTo(x + dx, y + dy);
    else ctx.arc(x, y, r, 0, 7);
    ctx.closePath();
    ctx.fillStyle = m.priority === "high" ? ink("red") : m.priority === "medium" ? ink("amberfill") : ink("paper");
    ctx.lineWidth = 1.2 * px;
    ctx.fill();
    ctx.stroke();
    ctx.fillStyle = m.priority === "high" ? ink("onmark") : m.priority === "medium" ? "#22201c" : ink("ink");
    ctx.fillText(d.letters[m.priority] ?? "", x, y + 4 * px);
    ctx.fillStyle = ink("ink");
    if (count > 1) ctx.fillText(String(count), x + (x > left + width - 24 * px ? -15 : 15) * px, y + 4 * px);
  }
  ctx.restore();
}

/** Draws into the box, anew at every change of its width and of day and night. The view may be moved by show; end takes it all away. */
export function draw(at: HTMLElement, d: Drawing): { show: (from: number, to: number) => void; valueAt: (x: number) => number; end: () => void } {
  let plot: uPlot | null = null;
  let view: [number, number] = [d.from, d.to];
  let begun = 0; // the library draws a moment after it was asked to
  const make = () => {
    begun = performance.now();
    plot?.destroy();
    const size = letters();
    const entries = { show: !!d.point.byHand, size: 8, fill: ink("ink"), stroke: ink("ink") }; // what people read hours apart is no line yet
    const axis = { stroke: ink("soft"), font: `${13 * size}px system-ui, sans-serif`, grid: { stroke: ink("hair"), width: 0.7 }, ticks: { show: false } };
    plot = new uPlot({
      width: at.clientWidth,
      height: Math.max(220, Math.min(at.classList.contains("large") ? innerHeight * 0.55 : 450, at.clientWidth * (at.classList.contains("large") ? 0.6 : 0.52))),
      legend: { show: false },
      cursor: { show: false },
      tzDate: (s) => d.site(s * 1000) ?? uPlot.tzDate(new Date(s * 1000), d.zone),
      scales: { x: { range: () => view }, y: { range: () => scaleOf(d) } },
      axes: [
        { ...axis, space: 80 * size, size: 50 * size, values: (_u, ticks) => ticks.map((t) => (view[1] - view[0] > 86400 ? d.moment : d.hour)(t * 1000)) },
        { ...axis, size: 48 * size, values: (_u, ticks) => ticks.map((t) => t.toFixed(decimalsOf(ticks))) },
      ],
      series: [
        {},
        { stroke: "transparent" },
        { stroke: "transparent" },
        { stroke: ink("ink"), width: 2, points: entries },
        { stroke: ink("ink"), width: 2, dash: [4, 4], points: entries },
      ],
      bands: [{ series: [2, 1], fill: ink("band") }],
      hooks: { drawClear: [(u) => { behind(d, u); ahead(d, u); others(d, u); }], draw: [(u) => edges(d, u), drawn] },
    }, columns(d.curve), at);
    plot.ctx.canvas.setAttribute("aria-hidden", "true");
  };
  function drawn(): void {
    if (begun) measured("curve: draw", begun);
    begun = 0;
  }
  make();
  let width = at.clientWidth;
  const resized = new ResizeObserver(() => {
    if (at.clientWidth !== width) { width = at.clientWidth; make(); }
  });
  resized.observe(at);
  const light = new MutationObserver(make);
  light.observe(document.documentElement, { attributes: true, attributeFilter: ["class"] });
  const dark = matchMedia("(prefers-color-scheme: dark)");
  dark.addEventListener("change", make);
  return {
    show: (from, to) => { view = [from, to]; plot?.setScale("x", { min: from, max: to }); },
    valueAt: (x) => (plot ? plot.posToVal(x - plot.over.getBoundingClientRect().left, "x") : 0),
    end: () => {
      resized.disconnect();
      light.disconnect();
      dark.removeEventListener("change", make);
      plot?.destroy();
    },
  };
}
