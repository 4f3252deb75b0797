// How much room a page has. On a wall letters are larger, so that the same width holds less.

/** How many times as large as at hand letters are, as the style sheet has it. The class is asked, since the style would have to be worked out for the answer. */
export function letters(): number { return document.documentElement.classList.contains("wall") ? 1.6 : 1; }

/** The width of the page in pixels, as if its letters were those at hand; the style sheet asks the same of its container, in rem. */
export function room(): number { return innerWidth / letters(); }
