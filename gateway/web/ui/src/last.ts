// The last state this device has seen, kept for the hour without a network.
import type { Frame } from "./types";

const key = "last";

interface Last { at: number; version: string; frame: Frame }

/** Who leaves leaves nothing: the page on its way out keeps no state any more. */
let left = false;

/** Keeps what stands; at is the device's clock. A device that keeps nothing begins empty. */
export function keepLast(frame: Frame): void {
  if (left) return;
  try {
    localStorage.setItem(key, JSON.stringify({ at: Date.now(), version: frame.plan.version, frame } satisfies Last));
  } catch {
    // No room, or not allowed: without a network the page then waits for the mill.
  }
}

/** What was kept, and its age in milliseconds; null: nothing, or nothing that can be read. */
export function last(): { frame: Frame; age: number } | null {
  try {
    const kept = JSON.parse(localStorage.getItem(key) ?? "null") as Last | null;
    return kept?.frame?.plan ? { frame: kept.frame, age: Math.max(0, Date.now() - kept.at) } : null;
  } catch {
    return null;
  }
}

/** Forgets it: who leaves the device leaves nothing of the mill on it. */
export function forgetLast(): void {
  left = true;
  try {
    localStorage.removeItem(key);
  } catch {
    // Nothing was kept either.
  }
}
