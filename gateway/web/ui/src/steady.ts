// A list that does not move under the hand or the keyboard: what stands in it keeps its place while the focus is within, since a browser takes the focus
// from what is moved in the page, and a finger finds another button than the one it went for.
import type { RefObject } from "preact";
import { useRef } from "preact/hooks";

/** The keys in the order given, but with those that stood before in their old order; what is new comes above all that it outranks. Pure. */
export function steady(before: readonly string[], given: readonly string[]): string[] {
  const kept = before.filter((k) => given.includes(k));
  for (let i = given.length - 1; i >= 0; i--) {
    const key = given[i]!;
    if (kept.includes(key)) continue;
    const below = kept.findIndex((k) => given.indexOf(k) > i);
    kept.splice(below < 0 ? kept.length : below, 0, key);
  }
  return kept;
}

/** The list in the order in which it is drawn, and the box that it is drawn in. */
export function useSteady<T, E extends HTMLElement>(list: readonly T[], keyOf: (item: T) => string): [T[], RefObject<E | null>] {
  const box = useRef<E | null>(null);
  const drawn = useRef<string[]>([]);
  const keys = list.map(keyOf);
  drawn.current = box.current?.contains(document.activeElement) ? steady(drawn.current, keys) : keys;
  return [drawn.current.map((k) => list[keys.indexOf(k)]!), box];
}
