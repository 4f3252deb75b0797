// Who is at this device: a person of the rules file, asked once.
import { useEffect, useRef } from "preact/hooks";
import { useHere } from "./context";
import { begins } from "./say";

export function Who({ then, cancel }: { then: (name: string) => void; cancel: () => void }) {
  const { frame, words, setWho } = useHere();
  const first = useRef<HTMLButtonElement>(null);
  useEffect(() => first.current?.focus(), []);
  const people = frame.plan.people.filter((p) => p.rights !== "reader" && p.rights !== "auditor");
  return (
    <fieldset class="who">
      <legend>{words.whoAreYou}</legend>
      {people.map((p, i) => (
        <button key={p.name} ref={i === 0 ? first : null} onClick={() => { setWho(p.name); then(p.name); }}>{begins(p.title)}</button>
      ))}
      <button class="bare" onClick={cancel}>{words.cancel}</button>
    </fieldset>
  );
}
