// The exact small marks: priority of an alarm, and the bar of a point. Drawn in percentages, so that strokes keep their width at every size.
import type { Alarm, Limit, Point, Value } from "./types";
import type { Words } from "./words/en";

/** States in which the alarm waits for a person to acknowledge. */
export function waits(a: Alarm): boolean {
  return a.state === "unacknowledged" || a.state === "returned, unacknowledged" || a.state === "latched, unacknowledged";
}

/** Those on lists of their own: shelved, suppressed by design, out of service. */
export function hidden(a: Alarm): boolean {
  return a.state === "shelved" || a.state === "suppressed by design" || a.state === "out of service";
}

/** Square H, diamond M, ring L. Filled while nobody has acknowledged; with a bar under it once it is back to normal. */
export function Mark({ alarm, words }: { alarm: Alarm; words: Words }) {
  const returned = /^(returned|latched)/.test(alarm.state);
  const open = waits(alarm);
  const state = words.states[alarm.state] ?? alarm.state;
  const kind = `mark ${alarm.priority}${open && !returned ? " filled" : ""}${alarm.state === "unacknowledged" ? " blink" : ""}`;
  const name = `${words.priorities[alarm.priority]}, ${state}`;
  return (
    <svg class={kind} viewBox="0 0 24 28" role="img" aria-label={name}>
      {alarm.priority === "high" && <rect class="shape" x="2" y="2" width="20" height="20" />}
      {alarm.priority === "medium" && <path class="shape" d="M12 0.8 L23.2 12 L12 23.2 L0.8 12 Z" />}
      {alarm.priority === "low" && <circle class="shape" cx="12" cy="12" r="10" />}
      <text x="12" y="16.6" text-anchor="middle">{words.letters[alarm.priority]}</text>
      {returned && <path class="under" d="M2 26.5 H22" />}
    </svg>
  );
}

/** The alarm whose colour the diamond of a point takes: the gravest active one that was decided by it or stands on its limits. */
export function gravest(p: Point, alarms: readonly Alarm[]): Alarm | undefined {
  const order = { high: 0, medium: 1, low: 2 };
  return alarms
    .filter((a) => a.active && !hidden(a) && (a.values.some((v) => v.point === p.name) || p.limits?.some((l) => l.alarm === a.id)))
    .sort((a, b) => order[a.priority] - order[b.priority])[0];
}

const tall = { high: 9, medium: 7, low: 5 };

function share(v: number, p: Point): number {
  const r = p.range!;
  return ((v - r.low) / (r.high - r.low)) * 100;
}

/** Hairline for the range, the normal band, each limit as a stroke with a foot toward its abnormal side, the value as a diamond. */
export function Bar({ point, value, alarm, label }: { point: Point; value: Value | undefined; alarm: Alarm | undefined; label: string }) {
  if (!point.range || point.unit === "") return <span class="bar" />; // on and off, yes and no have no scale
  const known = value && value.quality !== "bad" && value.number !== null ? value.number : null;
  const at = known === null ? 0 : share(known, point);
  const inside = (l: Limit) => share(l.value, point) >= 0 && share(l.value, point) <= 100;
  const normal = point.normal && [Math.max(0, share(point.normal.low, point)), Math.min(100, share(point.normal.high, point))] as const;
  return (
    <svg class="bar" role="img" aria-label={label}>
      <g class="drawn">
        <line class="hairline" x1="0" x2="100%" y1="50%" y2="50%" />
        {normal && normal[1] > normal[0] && (
          <>
            <rect class="norm" x={`${normal[0]}%`} width={`${normal[1] - normal[0]}%`} y="25%" height="50%" />
            {normal.map((x) => <line class="edge" x1={`${x}%`} x2={`${x}%`} y1="25%" y2="75%" />)}
          </>
        )}
        {(point.limits ?? []).filter(inside).map((l) => (
          <svg class="limit" x={`${share(l.value, point)}%`} y="50%">
            <path d={`M0 ${-tall[l.priority]} V${tall[l.priority]} h${l.above ? 4 : -4}`} />
            {l.critical && <path d={`M${l.above ? 2.5 : -2.5} ${-tall[l.priority]} V${tall[l.priority]}`} />}
          </svg>
        ))}
        {known !== null && (
          <svg class={`value ${alarm ? alarm.priority : ""} ${value!.quality}`} x={`${Math.max(0, Math.min(100, at))}%`} y="50%">
            {at < 0 && <path d="M6 -7 L-2 0 L6 7 Z" />}
            {at > 100 && <path d="M-6 -7 L2 0 L-6 7 Z" />}
            {at >= 0 && at <= 100 && <path d="M0 -8.5 L5.2 0 L0 8.5 L-5.2 0 Z" />}
          </svg>
        )}
      </g>
    </svg>
  );
}
