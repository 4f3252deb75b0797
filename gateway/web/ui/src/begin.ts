// The first script. It is small, so that the words are asked for while the page itself is still on its way: on a slow link that is a round trip less.
import { fetchWords, firstLanguage } from "./words/tables";

const words = fetchWords(firstLanguage());
void import("./main").then(async (page) => {
  await words.catch(() => fetchWords("en")); // without a network the other language may have been kept
  page.start();
});
