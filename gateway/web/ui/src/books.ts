// What is asked for by the way: the record and the lists that the live stream does not carry.
import { useEffect, useRef, useState } from "preact/hooks";

export interface Stay {
  station: string; lot: string; from: number; to?: number; kg?: number; unloaded?: number; who: string; emptiedBy?: string; note?: string;
}

export interface Mark { alarm: string; title: string; station: string; priority: "high" | "medium" | "low"; at: number }

export interface Line {
  id: number; at: number; set: boolean; kind: string; alarm?: string; occurrence?: number; place?: string; lot?: string; who?: string; why?: string; state?: string; title?: string; text: string;
}

export interface WayOfLots { from: number; to: number; stays: Stay[]; marks: Mark[]; acts: Line[] }

/** The sentence that says why there is no answer. Where it passes, as a gateway that is busy, asking again helps. */
export class Refused extends Error {
  constructor(says: string, readonly passes: boolean) { super(says); }
}

let language = "en";

/** From now on the gateway is asked to say everything in this language. */
export function speak(to: string): void {
  language = to;
}

/** What goes with every question, and with what is sent [RFC 9110 12.5.4]. */
export function headers(sends = false): Record<string, string> {
  return { "Accept-Language": language, ...(sends && { "Content-Type": "application/json" }) };
}

/** Asks for a path; with a body it is sent there. */
export async function ask<T>(path: string, signal?: AbortSignal, body?: object): Promise<T> {
  const answer = await fetch(path, { headers: headers(!!body), ...(signal && { signal }), ...(body && { method: "POST", body: JSON.stringify(body) }) });
  if (!answer.ok) {
    const said = (await answer.json().catch(() => ({}))) as { says?: string };
    throw new Refused(said.says ?? String(answer.status), answer.status >= 500);
  }
  return (await answer.json()) as T;
}

export interface Asked<T> { got: T | null; failed: string; again: () => void }

/** Pauses after a question without an answer, each twice as long as the one before: a gateway that is busy is not asked all the time. */
const failedFirst = 3e3, failedMost = 60e3;

/**
 * What stands at a path, asked again when the path changes, every so many milliseconds, and where no answer came; what was got stays while it is asked
 * anew.
 */
export function useBook<T>(path: string, every = 0): Asked<T> {
  const [got, set] = useState<T | null>(null);
  const [failed, fail] = useState("");
  const [turn, next] = useState(0);
  const asked = useRef("");
  useEffect(() => {
    if (!path) return;
    const asking = new AbortController();
    let wait = 0, failures = 0;
    if (asked.current.split("?")[0] !== path.split("?")[0]) set(null);
    asked.current = path;
    const look = async () => {
      let pause = every;
      try {
        set(await ask<T>(path, asking.signal));
        fail("");
        failures = 0;
      } catch (e) {
        if (asking.signal.aborted) return;
        fail(e instanceof Refused ? e.message : "?");
        if (!(e instanceof Refused) || e.passes) pause = Math.min(failedMost, failedFirst * 2 ** failures++, every || Infinity);
      }
      if (pause && !asking.signal.aborted) wait = setTimeout(() => void look(), pause);
    };
    void look();
    return () => { clearTimeout(wait); asking.abort(); };
  }, [path, every, turn, language]);
  return { got, failed, again: () => next((n) => n + 1) };
}
