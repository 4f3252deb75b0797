// This device as one that takes push messages: asked for by a touch, taken back by another, with honest words on what it needs.
import { useEffect, useState } from "preact/hooks";
import { useAct } from "./acts";
import { useBook } from "./books";
import { useHere } from "./context";

/** Whether a browser can take push messages from here at all: it has to be able to, and the page must come by a way that it trusts. */
const able = () => isSecureContext && "serviceWorker" in navigator && "PushManager" in window && "Notification" in window;

/** Bytes of base64url, as the browser wants the key. */
function bytes(text: string): Uint8Array<ArrayBuffer> {
  return Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
}

function base64url(raw: ArrayBuffer | null): string {
  return btoa(String.fromCharCode(...new Uint8Array(raw ?? new ArrayBuffer(0)))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=/g, "");
}

function bodyOf(s: PushSubscription, by: string) {
  return { by, endpoint: s.endpoint, p256dh: base64url(s.getKey("p256dh")), auth: base64url(s.getKey("auth")) };
}

function Ask({ pushKey, by }: { pushKey: string; by: string }) {
  const { words } = useHere();
  const [has, set] = useState<PushSubscription | null>(null);
  const [refused, refuse] = useState(false);
  const [outcome, act] = useAct(words);
  useEffect(() => { void navigator.serviceWorker.getRegistration().then((r) => r?.pushManager.getSubscription()).then((s) => set(s ?? null)); }, []);
  const on = async () => {
    refuse(false);
    try {
      if (await Notification.requestPermission() !== "granted") throw new Error("not allowed");
      const worker = await navigator.serviceWorker.register("/sw.js");
      const s = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(pushKey) });
      if (await act("/api/push", bodyOf(s, by))) set(s);
    } catch {
      refuse(true);
    }
  };
  const off = async (s: PushSubscription) => {
    if (await act("/api/push", { ...bodyOf(s, by), forget: true })) set(null);
    void s.unsubscribe();
  };
  return (
    <>
      {has ? <p>{words.pushOn} <button class="bare" onClick={() => void off(has)}>{words.pushOff}</button></p>
        : <p class="try"><button disabled={outcome.busy} onClick={() => void on()}>{words.pushHere}</button></p>}
      {(refused || outcome.failed) && <p role="alert">{refused ? words.pushRefused : outcome.says}</p>}
      <p class="soft">{words.pushHonest}</p>
    </>
  );
}

/** Nothing where the rules file has no channel of push messages. */
export function PushHere({ by }: { by: string }) {
  const { words } = useHere();
  const { got } = useBook<{ key: string }>("/api/push");
  if (!got?.key) return null;
  return able() && by ? <Ask pushKey={got.key} by={by} /> : <p class="soft">{able() ? words.pushHonest : words.pushNeeds}</p>;
}
