// Texts in two languages as they stand beside the built-in rules: one at the margin, its Spanish indented under it.

/** Pure. Keys are in small letters: names begin with a capital in some places. */
export function pairs(text: string): Map<string, string> {
  const found = new Map<string, string>();
  let of = "";
  for (const line of text.split("\n")) {
    if (line.startsWith("    ")) found.set(of, line.trim());
    else if (line && !line.startsWith("#")) of = line.toLowerCase();
  }
  return found;
}
