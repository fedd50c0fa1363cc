// Says in the language of the page what scripts say: the page brings the words (base.html). What it
// brings none of is said in English.
"use strict";
const say = (() => {
  const words = JSON.parse(document.getElementById("words")?.textContent ?? "{}");
  const say = (text) => words[text] ?? text;
  // For times and days: in English as the browser writes them.
  say.locales = document.documentElement.lang === "en" ? [] : document.documentElement.lang;
  return say;
})();
