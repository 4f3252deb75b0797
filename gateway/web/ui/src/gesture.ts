// Fingers and mouse on a chart: one finger moves it, two pinch it, a touch reads it. Buttons do the same, for those who cannot drag.

export interface Hand {
  /** The stretch shown, in Unix seconds. */
  view: () => [number, number];
  valueAt: (x: number) => number;
  /** While the fingers move. */
  show: (from: number, to: number) => void;
  /** When they are lifted. */
  settle: (from: number, to: number) => void;
  /** The moment under the finger or the mouse. */
  read: (at: number | null) => void;
}

/** No narrower than a minute, no wider than two years. */
const narrowest = 60, widest = 2 * 366 * 86400;

/** The stretch that keeps the moments under two fingers under them. */
export function pinch(a0: number, b0: number, a1: number, b1: number, from: number, to: number): [number, number] {
  const before = b0 - a0, after = b1 - a1;
  if (Math.abs(before) < 1e-9 || Math.abs(after) < 1e-9) return [from, to];
  const scale = before / after;
  const span = Math.max(narrowest, Math.min(widest, (to - from) * Math.abs(scale)));
  const middle = (a0 + b0) / 2, share = ((a1 + b1) / 2 - from) / (to - from);
  const start = middle - share * span;
  return [start, start + span];
}

export function handle(box: HTMLElement, hand: () => Hand | null): () => void {
  /** Where each finger came down, the moment under it then, and where it is. */
  const down = new Map<number, { x: number; at: number; is: number }>();
  let first: [number, number] = [0, 0], moved = 0, now: [number, number] = [0, 0];
  const begin = (e: PointerEvent) => {
    const h = hand();
    if (!h || e.button !== 0) return;
    box.setPointerCapture(e.pointerId);
    first = now = h.view();
    down.set(e.pointerId, { x: e.clientX, at: h.valueAt(e.clientX), is: e.clientX });
    if (down.size === 1) moved = 0;
  };
  const move = (e: PointerEvent) => {
    const h = hand();
    if (!h) return;
    const held = down.get(e.pointerId);
    if (!held) {
      if (e.pointerType === "mouse") h.read(h.valueAt(e.clientX));
      return;
    }
    held.is = e.clientX;
    const width = box.clientWidth, perPixel = (first[1] - first[0]) / width;
    moved = Math.max(moved, Math.abs(e.clientX - held.x));
    if (down.size === 1 && moved > 4) {
      const by = (held.x - e.clientX) * perPixel;
      now = [first[0] + by, first[1] + by];
    } else if (down.size === 2) {
      const other = [...down].find(([id]) => id !== e.pointerId)![1];
      const left = box.getBoundingClientRect().left;
      const where = (x: number) => first[0] + (x - left) * perPixel;
      now = pinch(held.at, other.at, where(held.is), where(other.is), first[0], first[1]);
    } else return;
    h.show(now[0], now[1]);
  };
  const end = (e: PointerEvent) => {
    const h = hand();
    if (!down.delete(e.pointerId) || !h) return;
    if (down.size > 0) return;
    if (moved > 4) h.settle(now[0], now[1]);
    else h.read(h.valueAt(e.clientX));
  };
  const leave = (e: PointerEvent) => { if (e.pointerType === "mouse" && down.size === 0) hand()?.read(null); };
  box.addEventListener("pointerdown", begin);
  box.addEventListener("pointermove", move);
  box.addEventListener("pointerup", end);
  box.addEventListener("pointercancel", end);
  box.addEventListener("pointerleave", leave);
  return () => {
    box.removeEventListener("pointerdown", begin);
    box.removeEventListener("pointermove", move);
    box.removeEventListener("pointerup", end);
    box.removeEventListener("pointercancel", end);
    box.removeEventListener("pointerleave", leave);
  };
}
