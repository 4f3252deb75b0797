// What is asked for by the way: the record and the lists that the live stream does not carry.
import { useEffect, useRef, useState } from "preact/hooks";

export interface Stay {
  station: string; lot: string; from: number; to?: number; kg?: number; unloaded?: number; who: string; emptiedBy?: string; note?: string;
}

export interface Mark { alarm: string; title: string; station: string; priority: "high" | "medium" | "low"; at: number }

export interface Line {
  id: number; at: number; set: boolean; kind: string; alarm?: string; occurrence?: number; place?: string; lot?: string; who?: string; why?: string; state?: string; text: string;
}

export interface WayOfLots { from: number; to: number; stays: Stay[]; marks: Mark[]; acts: Line[] }

/** An answer of the gateway, or the sentence that says why there is none. */
export class Refused extends Error {}

/** Asks for a path; with a body it is sent there. */
export async function ask<T>(path: string, signal?: AbortSignal, body?: object): Promise<T> {
  const answer = await fetch(path, { ...(signal && { signal }), ...(body && { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }) });
  if (!answer.ok) {
    const said = (await answer.json().catch(() => ({}))) as { says?: string };
    throw new Refused(said.says ?? String(answer.status));
  }
  return (await answer.json()) as T;
}

export interface Asked<T> { got: T | null; failed: string; again: () => void }

/** What stands at a path, asked again when the path changes and every so many milliseconds; what was got stays while it is asked anew. */
export function useBook<T>(path: string, every = 0): Asked<T> {
  const [got, set] = useState<T | null>(null);
  const [failed, fail] = useState("");
  const [turn, next] = useState(0);
  const asked = useRef("");
  useEffect(() => {
    if (!path) return;
    const asking = new AbortController();
    if (asked.current.split("?")[0] !== path.split("?")[0]) set(null);
    asked.current = path;
    const look = () => ask<T>(path, asking.signal).then(
      (g) => { set(g); fail(""); },
      (e: unknown) => { if (!asking.signal.aborted) fail(e instanceof Refused ? e.message : "?"); },
    );
    void look();
    const t = every ? setInterval(look, every) : 0;
    return () => { clearInterval(t); asking.abort(); };
  }, [path, every, turn]);
  return { got, failed, again: () => next((n) => n + 1) };
}
