// What every part of the page needs: what stands, the clock, the words, who is here.
import { createContext } from "preact";
import { useContext } from "preact/hooks";
import type { Frame } from "./types";
import type { Now } from "./say";
import type { Words } from "./words/en";

export interface Here {
  frame: Frame;
  now: Now;
  words: Words;
  /** Milliseconds without word from the mill; 0 while it speaks. */
  lost: number;
  who: string;
  setWho: (name: string) => void;
  go: (path: string) => void;
}

export const HereContext = createContext<Here | null>(null);

export function useHere(): Here {
  const here = useContext(HereContext);
  if (!here) throw new Error("page: used outside of the frame");
  return here;
}
