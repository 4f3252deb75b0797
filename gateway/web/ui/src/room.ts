// How much room a page has. On a wall letters are larger, so that the same width holds less.

/** How many times as large as at hand letters are. */
export function letters(): number { return parseFloat(getComputedStyle(document.documentElement).fontSize) / 16; }

/** The width of the page in pixels, as if its letters were those at hand; the style sheet asks the same of its container, in rem. */
export function room(): number { return innerWidth / letters(); }
