// The words of the page by language. Each table comes alone: who reads Spanish does not wait for the English on a slow link.
import type { Words } from "./en";

/** The languages by their own names. */
export const languages = { en: "English", es: "Español" } as const;

type Language = keyof typeof languages;

const tables: Partial<Record<Language, Words>> = {};

/** The language of the page that is meant: any that it does not have is English. */
export const known = (language: string): Language => (language === "es" ? "es" : "en");

/** Fetches the words of a language; any that is not known is English. */
export async function fetchWords(language: string): Promise<void> {
  const l = known(language);
  tables[l] ??= l === "es" ? (await import("./es")).es : (await import("./en")).en;
}

/** The words of a language; until they are there, those that are. */
export function wordsOf(language: string): Words {
  const words = tables[known(language)] ?? tables.en ?? tables.es;
  if (!words) throw new Error("page: no words yet");
  return words;
}

/** The language in which the page begins: the one chosen on this device, else the site's, else the device's. */
export function firstLanguage(): string {
  let chosen = "";
  try {
    chosen = localStorage.getItem("language") ?? "";
  } catch {
    // A device that keeps nothing has chosen nothing.
  }
  const stands = document.getElementById("stands")?.textContent;
  return chosen || (stands ? (JSON.parse(stands) as { plan: { site: { language: string } } }).plan.site.language : navigator.language.slice(0, 2));
}
