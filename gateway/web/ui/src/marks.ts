// Marks of alarms on a drawing: those that would lie upon each other become one, the gravest, with their number. Pure.
import type { Mark } from "./books";

const gravity = { high: 0, medium: 1, low: 2 };

/** at places a mark on the drawing; nearer than room to the one before it is upon it. */
export function joined(marks: readonly Mark[], at: (m: Mark) => number, room: number): { mark: Mark; count: number }[] {
  const out: { mark: Mark; count: number }[] = [];
  for (const m of [...marks].sort((a, b) => a.at - b.at)) {
    const last = out[out.length - 1];
    if (last && at(m) - at(last.mark) < room) {
      last.count++;
      if (gravity[m.priority] < gravity[last.mark.priority]) last.mark = { ...m, at: last.mark.at };
    } else out.push({ mark: m, count: 1 });
  }
  return out;
}
