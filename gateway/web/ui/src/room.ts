// How much room a page has. On a wall letters are larger, so that the same width holds less.

let width = innerWidth;

/** Follows the width of the page, which is the window's less what a bar to scroll takes; whoever asks for room hears of it as of a window that was resized. */
export function followWidth(): void {
  new ResizeObserver(([body]) => {
    if (!body || body.contentRect.width === width) return;
    width = body.contentRect.width;
    dispatchEvent(new Event("resize"));
  }).observe(document.body);
}

/** How many times as large as at hand letters are, as the style sheet has it. The class is asked, since the style would have to be worked out for the answer. */
export function letters(): number { return document.documentElement.classList.contains("wall") ? 1.6 : 1; }

/** The width of the page in pixels, as if its letters were those at hand; the style sheet asks the same of its container, in rem. */
export function room(): number { return width / letters(); }
