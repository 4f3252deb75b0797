// The curve of one point: limits and normal band drawn, gaps as gaps, uncertain stretches dashed, and the same said in a sentence.
import { useEffect, useRef, useState } from "preact/hooks";
import uPlot from "uplot";
import { fetchCurve, gapAfter } from "./curve";
import { useHere } from "./context";
import { atWall, hour, unitBeside, withUnit } from "./say";
import type { Curve, Point } from "./types";

const spans = [2, 12, 72, 720]; // hours

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

function scaleOf(point: Point, c: Curve): [number, number] {
  const marks = [...(point.limits ?? []).map((l) => l.value), ...(point.normal ? [point.normal.low, point.normal.high] : [])];
  const low = Math.min(...c.low, ...marks), high = Math.max(...c.high, ...marks);
  const room = (high - low || 1) * 0.08;
  return [low - room, high + room];
}

/** Draws what lies behind the curve: normal band, limits with their names, and stretches in which nothing is known. */
function behind(point: Point, c: Curve, u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio;
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
  ctx.font = `${13 * px}px system-ui, sans-serif`;
  let named = { y: -1e9, right: left }; // where the last name stands, so that neighbouring limits stand side by side
  for (const l of point.limits ?? []) {
    ctx.strokeStyle = ink("ink");
    ctx.lineWidth = 1.4 * px;
    ctx.beginPath();
    ctx.moveTo(left, y(l.value));
    ctx.lineTo(left + width, y(l.value));
    ctx.stroke();
    const over = l.above || top + height - y(l.value) < 24 * px; // no room for its name below the line
    const text = `${l.title} ${l.text}`, at = y(l.value) + (over ? -6 : 16) * px;
    const from = Math.abs(at - named.y) < 17 * px ? named.right + 14 * px : left + 4 * px;
    named = { y: at, right: from + ctx.measureText(text).width };
    ctx.fillStyle = ink("ink");
    ctx.fillText(text, from, at);
  }
  ctx.restore();
}

/** Decimals that tell neighbouring ticks apart. */
function decimalsOf(ticks: readonly number[]): number {
  for (let d = 0; d < 4; d++) {
    if (ticks.every((t) => Math.abs(t * 10 ** d - Math.round(t * 10 ** d)) < 1e-6)) return d;
  }
  return 4;
}

/** The right edge is now: an ink stroke over the whole height. */
function nowLine(u: uPlot): void {
  const { ctx } = u, { left, top, width, height } = u.bbox, px = devicePixelRatio;
  ctx.save();
  ctx.setLineDash([]); // the last line drawn was the dashed one
  ctx.strokeStyle = ink("ink");
  ctx.lineWidth = 2 * px;
  ctx.beginPath();
  ctx.moveTo(left + width, top - 8 * px);
  ctx.lineTo(left + width, top + height + 6 * px);
  ctx.stroke();
  ctx.restore();
}

export function Chart({ point }: { point: Point }) {
  const here = useHere();
  const { words, now, frame } = here;
  const [hours, setHours] = useState(12);
  const [curve, setCurve] = useState<Curve | null>(null);
  const [failed, setFailed] = useState(false);
  const box = useRef<HTMLDivElement>(null);
  const latest = useRef(now);
  latest.current = now;

  useEffect(() => {
    const fetching = new AbortController();
    setCurve(null);
    const look = () => fetchCurve(point.name, hours, Math.min(1200, box.current?.clientWidth ?? 600), latest.current.wall, fetching.signal)
      .then((c) => { setCurve(c); setFailed(false); }, () => { if (!fetching.signal.aborted) setFailed(true); });
    void look();
    const t = setInterval(look, 10e3);
    return () => { clearInterval(t); fetching.abort(); };
  }, [point.name, hours]);

  useEffect(() => {
    const at = box.current;
    if (!at || !curve || curve.time.length === 0) return;
    return draw(at, point, curve, (wall) => hour(wall, latest.current), (wall) => atWall(wall, latest.current), frame.plan.site.zone);
  }, [curve, point]);

  return (
    <figure class="chart">
      <div class="spans" role="group" aria-label={point.title}>
        {spans.map((s) => (
          <button key={s} aria-pressed={s === hours} onClick={() => setHours(s)}>{words.spans[String(s)]}</button>
        ))}
      </div>
      <div class="box" ref={box} aria-hidden="true" />
      <figcaption class="soft">{failed ? words.noHistory : curve ? says(point, curve, here) : words.waiting}</figcaption>
    </figure>
  );
}

/** The chart as sentences. */
function says(point: Point, c: Curve, { words, now }: ReturnType<typeof useHere>): string {
  if (c.time.length === 0) return words.noReadings;
  const decimals = Math.max(0, ...c.last.slice(-50).map((v) => (String(v).split(".")[1] ?? "").length));
  const text = (v: number) => withUnit(v.toFixed(Math.min(2, decimals)), unitBeside(point.title, c.unit));
  const parts = [words.chartSays(point.title, text(Math.min(...c.low)), text(Math.max(...c.high)), text(c.last[c.last.length - 1]!))];
  for (const l of point.limits ?? []) parts.push(words.chartLimit(l.title, l.text));
  for (const b of c.bad.slice(-3)) {
    parts.push(words.chartGap(atWall(b.from * 1000, now), atWall(b.to * 1000, now), words.causes[b.cause] ?? b.cause));
  }
  if (c.uncertain.some(Boolean)) parts.push(words.chartUncertain);
  return parts.join(" ");
}

/** Draws into the box, anew at every change of its width and of day and night; gives what takes it away again. */
function draw(at: HTMLElement, point: Point, c: Curve, hourOf: (wall: number) => string, momentOf: (wall: number) => string, zone: string): () => void {
  let plot: uPlot | null = null;
  const make = () => {
    plot?.destroy();
    const axis = { stroke: ink("soft"), font: "13px system-ui, sans-serif", grid: { stroke: ink("hair"), width: 0.7 }, ticks: { show: false } };
    const wide = c.to - c.from > 86400;
    plot = new uPlot({
      width: at.clientWidth,
      height: Math.max(220, Math.min(380, at.clientWidth * 0.42)),
      legend: { show: false },
      cursor: { show: false },
      tzDate: (s) => uPlot.tzDate(new Date(s * 1000), zone),
      scales: { x: { range: () => [c.from, c.to] }, y: { range: () => scaleOf(point, c) } },
      axes: [
        { ...axis, space: 80, values: (_u, ticks) => ticks.map((t) => (wide ? momentOf : hourOf)(t * 1000)) },
        { ...axis, size: 48, values: (_u, ticks) => ticks.map((t) => t.toFixed(decimalsOf(ticks))) },
      ],
      series: [
        {},
        { stroke: "transparent" },
        { stroke: "transparent" },
        { stroke: ink("ink"), width: 2, points: { show: false } },
        { stroke: ink("ink"), width: 2, dash: [4, 4], points: { show: false } },
      ],
      bands: [{ series: [2, 1], fill: ink("band") }],
      hooks: { drawClear: [(u) => behind(point, c, u)], draw: [nowLine] },
    }, columns(c), at);
    plot.ctx.canvas.setAttribute("aria-hidden", "true");
  };
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
  return () => {
    resized.disconnect();
    light.disconnect();
    dark.removeEventListener("change", make);
    plot?.destroy();
  };
}
