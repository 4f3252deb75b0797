// Pages that come with their own script only when they are looked at: the first page stays light for a phone at night.
import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { useHere } from "./context";

type Name = "CautionsPage" | "LinksPage" | "LogbookPage" | "RegisterPage" | "RatesPage" | "RosterPage" | "ProbesPage" | "RulesPage" | "SeasonPage" | "MorePage" | "LotsPage" | "LotsBeside" | "LotPage" | "PointPage" | "Session" | "Closings" | "WhoWasHere" | "Worked";

/** What comes beside a page that is there already: nothing stands in its place until it comes. */
const beside: Name[] = ["LotsBeside", "Session", "Closings", "WhoWasHere", "Worked"];

/** The drawing of the lots stands on a wide first page: it comes without the other pages. */
const load = (name: Name): Promise<Record<string, unknown>> => (name === "LotsPage" || name === "LotsBeside" ? import("./lots") : import("./pages"));

export function Lazy({ name, ...props }: { name: Name; lot?: string; point?: string; station?: string; list?: unknown; again?: () => void }) {
  const { words } = useHere();
  const [Page, set] = useState<ComponentType<Record<string, unknown>> | null>(null);
  const [failed, fail] = useState(false);
  useEffect(() => {
    void load(name).then((m) => set(() => m[name] as unknown as ComponentType<Record<string, unknown>>), () => fail(true));
  }, [name]);
  if (beside.includes(name) && !Page) return null;
  return Page ? <Page {...props} /> : <main><p class="quiet" role="status">{failed ? words.noAnswer : words.pageComes}</p></main>;
}
