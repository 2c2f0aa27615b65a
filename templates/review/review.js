"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const decided = new Map();
  const main = document.getElementById("content");
  const said = document.getElementById("said");
  let saved = true;
  let current = 0;

  const make = (name, properties, ...children) => {
    const node = Object.assign(document.createElement(name), properties);
    node.append(...children.filter((one) => one !== null));
    return node;
  };
  const plural = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;

  // -- cards, by field ---------------------------------------------------------------------------

  const fieldOf = (item) =>
    data.fields.findIndex((one) => one.where === item.where
      && one.photos === (item.kind === "picture"));

  const ACTS = [["release", "Release", "r"], ["withhold", "Withhold", "w"], ["replace", "Replace", "e"]];

  const card = (item, place) => {
    const node = make("article", { className: "card", tabIndex: -1, id: `item-${place}` });
    if (item.found.length) node.classList.add("has-hit");
    if (item.kind === "picture") {
      const picture = item.picture
        ? make("img", { src: item.picture, alt: `Photo ${item.shown}`, loading: "lazy" })
        : make("p", { className: "warning", textContent: "This photo cannot be shown here. Look at it elsewhere, or withhold it." });
      node.append(make("div", { className: "look" }, picture,
        make("div", {}, make("p", { textContent: "Look for:" }),
          make("ul", {}, ...data.lookFor.map((one) => make("li", { textContent: one }))),
          make("p", { className: "quiet", textContent: item.shown }))));
    } else {
      const text = make("p", { className: "text" });
      for (const [part, kind] of item.parts) {
        text.append(kind === "hit" ? make("mark", { className: "hit", textContent: part })
          : kind === "unknown" ? make("b", { className: "unknown", textContent: part }) : part);
      }
      node.append(text);
    }
    if (item.lines !== undefined) node.append(make("pre", { textContent: item.lines, tabIndex: 0 }));
    if (item.found.length) {
      node.append(make("p", {}, "Found: ", item.found.join("; ")));
    }
    const why = item.why === "no one has decided" ? "" : `; ${item.why}`;
    node.append(make("p", { className: "quiet", textContent: `shown ${plural(item.times, "time")}${why}` }));
    const instead = make("textarea", { value: item.instead || item.text, hidden: true });
    instead.setAttribute("aria-label", "What is shown instead");
    instead.addEventListener("input", () => decide(place, "replace"));
    const acts = make("div", { className: "acts" });
    for (const [decision, title, key] of ACTS) {
      if (decision === "replace" && item.instead === null) continue;
      const button = make("button", { type: "button", textContent: `${title} (${key})` });
      button.dataset.decision = decision;
      button.setAttribute("aria-pressed", "false");
      button.addEventListener("click", () => {
        current = place;
        decide(place, decision);
      });
      acts.append(button);
    }
    const next = make("button", { type: "button", textContent: "Next (n)" });
    next.addEventListener("click", () => { current = place; go(1); });
    acts.append(next);
    const same = data.items.map((one, other) => [one, other]).filter(([one]) =>
      one.where === item.where && one.kind === item.kind && one.shape === item.shape && !one.found.length);
    if (same.length > 1 && !item.found.length && item.kind !== "picture" && same[0][1] === place) {
      const all = make("button", { type: "button", textContent: `Release all ${same.length} of this form` });
      all.addEventListener("click", () => same.forEach(([, other]) => decide(other, "release")));
      acts.append(all);
    }
    node.append(instead, acts);
    node.addEventListener("focusin", () => { current = place; });
    return node;
  };

  const cards = data.items.map(card);
  const sections = data.fields.map((one, number) => {
    const node = make("section", { className: "field" },
      make("h2", { textContent: one.title }), make("p", { className: "quiet" }, make("code", { textContent: one.where })));
    data.items.forEach((item, place) => { if (fieldOf(item) === number) node.append(cards[place]); });
    main.append(node);
    return node;
  });
  if (!data.items.length) main.append(make("p", { textContent: "Nothing is waiting." }));

  // -- deciding ----------------------------------------------------------------------------------

  function decide(place, decision) {
    const node = cards[place];
    const instead = node.querySelector("textarea");
    if (decision) decided.set(place, decision); else decided.delete(place);
    saved = false;
    node.classList.toggle("decided", Boolean(decision));
    instead.hidden = decision !== "replace";
    for (const button of node.querySelectorAll("button[data-decision]")) {
      button.setAttribute("aria-pressed", String(button.dataset.decision === decision));
    }
    document.getElementById("done").textContent = decided.size;
    document.getElementById("progress").value = decided.size;
  }

  const shown = () => cards.map((_, place) => place).filter((place) =>
    !cards[place].hidden && !cards[place].closest("section").hidden);

  function go(step) {
    const places = shown();
    const at = places.findIndex((place) => step > 0 ? place > current : place >= current);
    const next = step > 0 ? places[at] : places[(at < 0 ? places.length : at) - 1];
    if (next === undefined) {
      said.textContent = step > 0 ? "This was the last one shown." : "This is the first one shown.";
      return;
    }
    said.textContent = "";
    current = next;
    cards[next].focus();
    cards[next].scrollIntoView({ block: "center" });
  }

  function filter() {
    const which = document.getElementById("which").value;
    const openOnly = document.getElementById("open-only").checked;
    sections.forEach((node, number) => { node.hidden = which !== "" && Number(which) !== number; });
    cards.forEach((node, place) => { node.hidden = openOnly && decided.has(place); });
  }
  document.getElementById("which").addEventListener("change", filter);
  document.getElementById("open-only").addEventListener("change", filter);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || /^(TEXTAREA|SELECT|INPUT)$/.test(event.target.tagName)) return;
    const item = data.items[current];
    if (event.key === "n") go(1);
    else if (event.key === "p") go(-1);
    else if (item && event.key === "u") decide(current, "");
    else if (item && (event.key === "r" || event.key === "w")) {
      decide(current, event.key === "r" ? "release" : "withhold");
      go(1);
    } else if (item && event.key === "e" && item.instead !== null) {
      decide(current, "replace");
      cards[current].querySelector("textarea").focus();
    } else return;
    event.preventDefault();
  });

  // -- saving ------------------------------------------------------------------------------------

  const cell = (text) => {
    const safe = /^[=+\-@＝＋－＠\t]/.test(text) ? `'${text}` : text;
    return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  };

  document.getElementById("save").addEventListener("click", () => {
    const rows = [data.columns];
    for (const [place, decision] of [...decided].sort((a, b) => a[0] - b[0])) {
      const item = data.items[place];
      const instead = decision === "replace" ? cards[place].querySelector("textarea").value : "";
      const told = { Decision: decision, "Shown instead": instead, Kind: item.kind, Where: item.where,
        Text: item.shown, Times: String(item.times), "Found in it": item.found.join("; "), Identity: item.identity };
      rows.push(data.columns.map((name) => told[name] || ""));
    }
    const text = "\ufeff" + rows.map((row) => row.map(cell).join(",")).join("\n") + "\n";
    const address = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    const link = make("a", { href: address, download: `${data.package}-decisions.csv` });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    saved = true;
    said.textContent = `Saved ${plural(decided.size, "decision")} as ${data.package}-decisions.csv in your downloads folder.`;
  });

  if (cards.length) cards[0].focus({ preventScroll: true });

  window.addEventListener("beforeunload", (event) => {
    if (!saved && decided.size) event.preventDefault();
  });
})();
