// What the program has said in English, in Spanish: built-in texts, and sentences by their form. The files are those of the Go packages rules/standard and internal/saying; the way is that of the latter.
import forms from "../../../../../internal/saying/es.txt";
import text from "../../../../../rules/standard/es.txt";
import { pairs } from "./pairs";

interface Form { own: string[]; says: string }
interface Table { whole: Map<string, string>; forms: Form[] }

const standard = pairs(text);

function read(): Record<string, Table> {
  const tables: Record<string, Table> = {};
  let table: Table = { whole: new Map(), forms: [] }, of = "";
  for (const line of forms.split("\n")) {
    if (line.startsWith("[")) table = tables[line.slice(1, -1)] = { whole: new Map(), forms: [] };
    else if (line.startsWith("    ")) {
      const own = of.replaceAll("%%", "\0").split(/%[-+#.0-9]*[a-vx-zA-Z]/).map((t) => t.replaceAll("\0", "%"));
      if (own.length === 1) table.whole.set(own[0]!, line.slice(4));
      else table.forms.push({ own, says: line.slice(4) });
    } else if (line && !line.startsWith("#")) of = line;
  }
  for (const t of Object.values(tables)) t.forms.sort((a, b) => b.own.join("").length - a.own.join("").length);
  return tables;
}

/** What stands in the places of a form, the shortest that fits; null: it is another sentence. */
function places(rest: string, own: readonly string[]): string[] | null {
  const first = own[0]!;
  if (own.length === 1) return rest.length > first.length && rest.endsWith(first) ? [rest.slice(0, rest.length - first.length)] : null;
  for (let at = rest.indexOf(first, 1); at > 0; at = rest.indexOf(first, at + 1)) {
    const more = places(rest.slice(at + first.length), own.slice(1));
    if (more) return [rest.slice(0, at), ...more];
  }
  return null;
}

function say(table: Table, text: string, within: (part: string) => string): string | null {
  const whole = table.whole.get(text);
  if (whole !== undefined) return whole;
  for (const f of table.forms) {
    const found = text.startsWith(f.own[0]!) ? places(text.slice(f.own[0]!.length), f.own.slice(1)) : null;
    if (found) return f.says.replace(/([$&])(\d)/g, (_, how: string, n: string) => (how === "$" ? within(found[Number(n) - 1]!) : found[Number(n) - 1]!));
  }
  return null;
}

const tables = read();
const parts = (text: string, between: string, each: (part: string) => string) => text.split(between).map(each).join(between);

/** Why an alarm came or went, or a part of it. */
function reason(text: string): string {
  return parts(text, "; ", (clause) => parts(clause, ", ", (part) => say(tables["reasons"]!, part, reason) ?? part));
}

/** A text of the program in Spanish; any other as it is. */
export function spanish(text: string): string {
  const known = standard.get(text.toLowerCase());
  if (known) return known;
  if (/; rule [a-z0-9-]+, [^;]+:\d+\.$|; withdrawn by rules change\.$/.test(text)) return reason(text);
  return say(tables["sentences"]!, text, spanish) ?? parts(text, ", ", (part) => standard.get(part.toLowerCase()) ?? say(tables["entries"]!, part, spanish) ?? part);
}

/** A word of the program; what a person wrote stays. */
export function spanishWord(text: string): string {
  return standard.get(text.toLowerCase()) ?? tables["sentences"]!.whole.get(text) ?? text;
}
