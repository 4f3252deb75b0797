// Who is logged in at this device. The gateway knows it by a cookie that scripts cannot read; the page only asks. On the demo nobody logs in, and the
// name is chosen at each device.
import { forgetLast } from "./last";

export interface Me {
  name: string;
  title: string;
  rights: string;
  /** Acts for whom it names: nobody logs in here. */
  others: boolean;
  may: string[];
}

const anybody: Me = { name: "", title: "", rights: "owner", others: true, may: [] };

export let me: Me = anybody;

/** Asks who is logged in, at the start and when the stream ends, which it may have done because the session did; who is nobody is taken to the login. Without an answer the page goes on all the same. */
export async function meet(): Promise<void> {
  try {
    const answer = await fetch("/api/me", { cache: "no-store", signal: AbortSignal.timeout(10000) });
    if (answer.status === 401) enter();
    else if (answer.ok) me = (await answer.json()) as Me;
  } catch {
    // No word from the mill: the frame says so.
  }
}

function enter(): void {
  forgetLast();
  location.assign(`/login?to=${encodeURIComponent(location.pathname)}`);
}
