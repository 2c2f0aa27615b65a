// What the grid of a table says, as its page has it (grid/words.html).

const WORDS = JSON.parse(document.getElementById("grid-words").textContent);

export const say = (name, values = {}) =>
  WORDS[name].replace(/\{(\w+)\}/g, (whole, one) => (one in values ? String(values[one]) : whole));
