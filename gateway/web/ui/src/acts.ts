// What people do, sent to the gateway, and who does it. The name is kept on this device until the page has logins.
import { useState } from "preact/hooks";
import { headers } from "./books";
import type { Words } from "./words/en";

/** What came of an act: "" while nothing was asked, else the words to show. */
export interface Outcome { busy: boolean; failed: boolean; says: string }

const still: Outcome = { busy: false, failed: false, says: "" };

export async function post(path: string, body: object, words: Words): Promise<Outcome> {
  try {
    const answer = await fetch(path, {
      method: "POST",
      headers: headers(true),
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(10000),
    });
    if (answer.ok) return { busy: false, failed: false, says: words.written };
    const refused = (await answer.json()) as { says?: string };
    return { busy: false, failed: true, says: refused.says ?? words.notWritten };
  } catch {
    return { busy: false, failed: true, says: words.notWritten };
  }
}

/** One act at a time, with its outcome in words where it was asked for. */
export function useAct(words: Words): [Outcome, (path: string, body: object) => Promise<boolean>] {
  const [outcome, set] = useState<Outcome>(still);
  const act = async (path: string, body: object): Promise<boolean> => {
    set({ busy: true, failed: false, says: words.writing });
    const got = await post(path, body, words);
    set(got);
    return !got.failed;
  };
  return [outcome, act];
}

/** A choice kept on this device. A browser that keeps nothing gives the page its first choice each time. */
export function kept(key: string): string {
  try {
    return localStorage.getItem(key) ?? "";
  } catch {
    return "";
  }
}

export function keep(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // Nothing to be done: the choice holds until the page is closed.
  }
}
