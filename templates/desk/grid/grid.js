// A table of the record as a grid: #grid names the table, #said and #problem say what became of it.
//
// A row is the array of its texts as the server shows them. Every edit, paste, fill and clear is one
// act; the server's answer, not what was typed, is what then stands in the cells.

import { setNonce } from "../vendor/revogrid/revo-grid/revo-grid.esm.js";
import { Acts } from "./acts.js";
import { asCode, CellEditor, shownText } from "./editor.js";
import { say } from "./words.js";

const by = (id) => document.getElementById(id);
const meta = (name) => document.querySelector(`meta[name=${name}]`)?.content ?? "";
const make = (name, properties, ...children) => {
  const node = Object.assign(document.createElement(name), properties);
  node.append(...children);
  return node;
};
const SEVERITIES = ["error", "warning", "note"];
const LISTED = 12;
const NARROW = matchMedia("(max-width: 40rem)");

const box = by("grid");
const { table, base = "" } = box.dataset;
const said = by("said");
const problem = by("problem");
setNonce(meta("nonce"));
const grid = document.createElement("revo-grid");

let columns = [];
let keyAt = 0;
let rows = []; // as the server has them
const byKey = new Map();
let drafts = []; // rows that have no key yet
let blank = [];
let view = []; // what is shown, in its order
let findings = new Map(); // row key → column → findings; the column of a finding about a whole row is that of the key
let refused = new Map(); // row → column → why
let shown = []; // the rows in the grid: the view, new rows, and a blank one
let place = null; // {y, c}: row of `shown` and column of inOrder() that has the focus
let range = null; // {y, y1, c, c1} of the selected cells, where they are more than one
let away = true; // the table was left by Escape, or never entered
let editor = null;
const wanted = new Map(); // column → values that are shown
let order = null; // {at, down}

// -- what the server says ---------------------------------------------------------------------------

const address = (what, keys = []) =>
  `${base}/tables/${encodeURIComponent(table)}/${what}${keys.length ? `?${new URLSearchParams(keys.map((key) => ["key", key]))}` : ""}`;

async function asked(what, keys) {
  const response = await fetch(address(what, keys));
  if (!response.ok) throw new Error(await response.text());
  return response.json();
}

function takeFindings(list) {
  findings = new Map();
  const at = new Map(columns.map((column) => [column.name, column.at]));
  for (const one of list) {
    if (!findings.has(one.key)) findings.set(one.key, new Map());
    const ofRow = findings.get(one.key);
    const column = at.get(one.field) ?? keyAt;
    if (!ofRow.has(column)) ofRow.set(column, []);
    ofRow.get(column).push(one);
  }
  findings.count = list.length;
}

let findingsAsked = 0;
async function askFindings() {
  const mine = ++findingsAsked;
  const list = await asked("findings").catch(unanswered);
  if (!list || mine !== findingsAsked) return; // the newest answer wins
  takeFindings(list);
  draw();
  tellCount();
  tellCell();
}

function unanswered(fault) {
  if (fault instanceof TypeError) acts.hear.silent(); // a network that fails is one (Fetch, 5.6)
  else {
    problem.textContent = say("unread", { why: fault.message });
    problem.hidden = false;
  }
}

// Takes rows as they stand now; those of `keys` that are not among them are gone.
function takeRows(texts, keys) {
  const open = acts.open();
  const told = new Map(texts.map((text) => [text[keyAt], text]));
  const gone = keys.filter((key) => byKey.has(key) && !told.has(key));
  const come = texts.filter((text) => !byKey.has(text[keyAt]));
  let moved = false;
  if (gone.length === 1 && come.length === 1) { // another key, the same row
    const row = byKey.get(gone[0]);
    byKey.delete(gone[0]);
    byKey.set(come[0][keyAt], row);
  } else {
    for (const key of gone) {
      const row = byKey.get(key);
      byKey.delete(key);
      const at = view.indexOf(row);
      places.set(key, view[at - 1]);
      rows.splice(rows.indexOf(row), 1);
      if (at >= 0) view.splice(at, 1);
      moved = true;
    }
  }
  for (const [key, text] of told) {
    let row = byKey.get(key);
    if (!row) {
      row = [...sent].find((one) => one[keyAt] === key);
      if (!row) {
        row = [];
        if (places.has(key)) view.splice(view.indexOf(places.get(key)) + 1, 0, row);
        else view.push(row);
      }
      rows.push(row);
      byKey.set(key, row);
      moved = true;
    }
    const typed = open.get(row);
    text.forEach((one, at) => {
      const cells = typed?.get(at);
      if (cells) for (const cell of cells) cell.now = one;
      else row[at] = one;
    });
  }
  if (moved) show();
  else draw();
}

let reloaded = Promise.resolve();
function reload(keys) {
  reloaded = reloaded.then(async () => {
    const few = keys && keys.length <= 100 ? keys : [];
    let answer;
    let before;
    do { // an answer is too old where an act was answered meanwhile
      before = acts.answers;
      answer = await asked("rows", few).catch(unanswered);
      if (!answer) return;
    } while (before !== acts.answers);
    const among = keys && new Set(keys);
    takeRows(among ? answer.rows.filter((text) => among.has(text[keyAt])) : answer.rows, keys ?? [...byKey.keys()]);
    askFindings();
    if (!acts.tries) problem.hidden = true;
  });
}

function listen(lost = false) {
  const events = new EventSource(`${base}/events`);
  // a browser holds six connections to one server: a tab that nobody sees lets go of its own
  document.addEventListener("visibilitychange", () => {
    events.close();
    document.addEventListener("visibilitychange", () => listen(true), { once: true });
  }, { once: true });
  events.addEventListener("changed", (event) => {
    const { tables } = JSON.parse(event.data);
    if (!tables || table in tables) reload(tables?.[table]);
  });
  events.addEventListener("findings", () => askFindings());
  events.addEventListener("error", () => {
    lost = true;
    const { answers } = acts; // a page that is being left loses it as well, and an act may be answered first
    setTimeout(() => { if (lost && answers === acts.answers) acts.hear.silent(); }, 3000);
    if (events.readyState === EventSource.CLOSED) setTimeout(() => { if (!document.hidden) listen(true); }, 5000); // it was refused: it does not try again
  });
  events.addEventListener("open", () => {
    acts.wake();
    if (lost) reload(null); // what was said meanwhile was not heard
    lost = false;
  });
}

// -- acts ------------------------------------------------------------------------------------------

const nameOf = (cell) => say("cell", { field: columns[cell.column].title, key: cell.row[keyAt] || say("new_here") });

function listed(cells) {
  const names = cells.slice(0, 2).map(nameOf).join(", ");
  return cells.length > 2 ? say("more", { what: names, n: cells.length - 2 }) : names;
}

function cellAct(cells) {
  return {
    cells,
    what: listed(cells),
    keys() { return [...new Set(this.cells.map((cell) => cell.row[keyAt]))]; },
    words() {
      return this.cells.map((cell) => ({ key: cell.row[keyAt], field: columns[cell.column].name, before: cell.before, after: cell.after }));
    },
  };
}

const isDraft = (row) => row === blank || drafts.includes(row);

// One act out of cells [{row, column, after}]; in each `before` where it was seen earlier than now.
function change(list) {
  const plain = [];
  let keysKept = 0;
  const touched = new Set();
  for (const { row, column, after, before = row[column] ?? "" } of list) {
    if (columns[column].readonly && !isDraft(row)) continue;
    if (before === after && !refused.get(row)?.has(column)) continue;
    if (isDraft(row)) {
      if (row === blank) { drafts.push(row); blank = columns.map(() => ""); }
      row[column] = after;
      touched.add(row);
      refused.delete(row);
    } else if (column === keyAt) {
      if (sent.has(row)) renameSent(row, after);
      else if (list.length === 1 && after) rename(row, after);
      else keysKept += 1;
    } else plain.push({ row, column, before, after });
  }
  for (const row of touched) {
    const key = row[keyAt];
    if (!key) {
      said.textContent = say("needs_key", { field: columns[keyAt].title });
      continue;
    }
    if (byKey.has(key) || drafts.some((one) => one !== row && one[keyAt] === key)) {
      refuse(row, keyAt, say("key_taken", { key }));
      said.textContent = say("key_taken", { key });
      continue;
    }
    const cells = row.map((after, column) => ({ row, column, before: "", after })).filter((cell) => cell.after && cell.column !== keyAt);
    // a key alone makes a row as well
    plain.push(...(cells.length ? cells : [{ row, column: keyAt, before: "", after: key }]));
    drafts = drafts.filter((one) => one !== row);
    sent.add(row);
    view.push(row);
  }
  if (plain.length) enter(plain);
  if (touched.size) show();
  else draw();
  tellHeld();
  if (touched.size) keep();
  if (keysKept) said.textContent = say("keys_kept", { n: keysKept });
}

const sent = new Set(); // new rows on their way
const places = new Map(); // key of a removed row → the row that stood before it

// Cells that belong to an act that was refused are corrected in it, and all of it is sent again.
function enter(cells) {
  const mended = acts.held.find((act) => act.cells.some((one) => cells.some((cell) => cell.row === one.row && cell.column === one.column)));
  for (const cell of cells) cell.row[cell.column] = cell.after;
  if (mended) {
    for (const cell of cells) {
      const old = mended.cells.find((one) => one.row === cell.row && one.column === cell.column);
      if (old) old.after = cell.after;
      else mended.cells.push(cell);
    }
    again(mended);
  } else {
    acts.add(cellAct(cells));
    saying();
  }
  keep();
}

function again(act) {
  acts.release(act);
  for (const cell of act.cells) refused.delete(cell.row);
  act.why = null;
  act.what = listed(act.cells);
  acts.add(act);
  saying();
  tellHeld();
}

let slow = 0;
function saying() { // said only where it takes longer than a person notices
  clearTimeout(slow);
  slow = setTimeout(() => {
    said.textContent = say("saving");
    // the first edit of a large record, or one while another program holds it
    slow = setTimeout(() => { said.textContent = say("still_saving"); }, 1600);
  }, 400);
}

function rename(row, newKey) {
  const key = row[keyAt];
  if (byKey.has(newKey)) {
    said.textContent = say("key_taken", { key: newKey });
    return;
  }
  acts.add({
    path: address("rename"),
    what: say("row_renamed", { key, new_key: newKey }),
    keys: () => [key, newKey],
    words: () => ({ key, new_key: newKey }),
  });
  saying();
}

// The key of a new row whose act was refused; one that is on its way is waited for.
function renameSent(row, key) {
  const act = acts.held.find((one) => one.cells.some((cell) => cell.row === row));
  if (!act || !key) return;
  if (byKey.has(key)) {
    refuse(row, keyAt, say("key_taken", { key }));
    return;
  }
  row[keyAt] = key;
  for (const cell of act.cells) if (cell.column === keyAt) cell.after = key;
  again(act);
}

function remove(row) {
  if (row === blank) return;
  if (isDraft(row)) {
    drafts = drafts.filter((one) => one !== row);
    refused.delete(row);
    show();
    tellHeld();
    keep();
    return;
  }
  const key = row[keyAt];
  acts.add({ path: address("remove"), what: say("row_removed", { key }), keys: () => [key], words: () => ({ key }) });
  saying();
}

function keep() {
  acts.keep(drafts.filter((row) => row.some(Boolean)));
  draw();
}

const acts = new Acts(table, meta("act"), {
  answered(act, answer) {
    clearTimeout(slow);
    const keys = act.entry?.keys ?? act.keys();
    takeRows(answer.rows ?? [], keys);
    for (const cell of act.cells ?? []) sent.delete(cell.row);
    // what was typed over it meanwhile began from what it became
    const open = acts.open();
    for (const { row, column } of act.cells ?? [])
      for (const cell of open.get(row)?.get(column) ?? []) cell.before = cell.now ?? cell.before;
    const what = act.entry?.what ?? act.what;
    said.textContent = say(act.from === acts.done ? "undone" : act.from ? "redone" : "saved", { what });
    keep();
    tellButtons();
    tellHeld();
    askFindings();
  },
  refused(act, status, answer) {
    clearTimeout(slow);
    if (act.cells) {
      act.why = { status, answer };
      for (const one of answer?.bad ?? []) {
        const { row } = act.cells.find((cell) => cell.row[keyAt] === one.key) ?? act.cells[0];
        refuse(row, columns.find((column) => column.name === one.field)?.at ?? keyAt, one.message);
      }
      for (const one of answer?.clash ?? []) {
        const cell = cellOf(act, one);
        if (cell) Object.assign(cell, { now: one.now, clash: true });
      }
      const isBad = act.cells.some((cell) => refused.has(cell.row));
      for (const cell of act.cells)
        if (cell.clash) refuse(cell.row, cell.column, say("clash"));
        else if (!isBad && !answer?.clash) refuse(cell.row, cell.column, say("failed", { why: reason(status, answer) }));
      said.textContent = say("not_saved", { what: act.what });
    } else if (!status) said.textContent = say(act.from === acts.done ? "nothing_to_undo" : "nothing_to_redo");
    else said.textContent = say(act.from ? "not_undone" : "failed", { why: reason(status, answer) });
    keep();
    tellButtons();
    tellHeld();
  },
  silent() {
    clearTimeout(slow);
    said.textContent = "";
    problem.textContent = say("silent");
    problem.hidden = false;
  },
  answering() {
    problem.hidden = true;
    said.textContent = say("answering");
  },
}, base);

const cellOf = (act, { key, field }) =>
  act.cells.find((cell) => cell.row[keyAt] === key && columns[cell.column].name === field);

function refuse(row, column, why) {
  if (!refused.has(row)) refused.set(row, new Map());
  refused.get(row).set(column, why);
}

function reason(status, answer) {
  if (status === 403) return say("out_of_date");
  if (answer?.bad?.length) return answer.bad.map((one) => one.message).join(" ");
  if (answer?.clash?.length) return `${say("clash")} ${answer.clash.map((one) => `${one.key}: ${one.now}`).join("; ")}`;
  return typeof answer === "string" && answer ? answer : String(status);
}

// What was typed before the page was loaded again is sent now.
function takeUp() {
  for (const one of acts.kept()) {
    if (one.drafts) {
      drafts.push(...one.drafts.filter((row) => row.length === columns.length));
      continue;
    }
    const fresh = new Map();
    const cells = one.cells.map(({ key, field, before, after }) => {
      const column = columns.findIndex((named) => named.name === field);
      let row = byKey.get(key) ?? fresh.get(key);
      if (!row) {
        row = columns.map((_, at) => (at === keyAt ? key : ""));
        fresh.set(key, row);
        sent.add(row);
      }
      return { row, column, before, after, now: row[column] };
    }).filter((cell) => cell.column >= 0 && cell.after !== cell.row[cell.column]);
    for (const cell of cells) cell.row[cell.column] = cell.after;
    if (cells.length) acts.add(cellAct(cells));
  }
  keep();
}

// -- acts that wait for a person -------------------------------------------------------------------

const unsaved = make("section", { id: "unsaved", className: "warning", hidden: true });

function tellHeld() {
  const parts = acts.held.map((act) => heldPart(act));
  for (const row of drafts)
    if (!row[keyAt] && row.some(Boolean)) parts.push(make("p", { textContent: say("needs_key", { field: columns[keyAt].title }) }));
    else for (const why of refused.get(row)?.values() ?? []) parts.push(make("p", { textContent: why }));
  unsaved.replaceChildren(...parts);
  unsaved.hidden = !parts.length;
  if (parts.length && acts.held.length) unsaved.scrollIntoView({ block: "nearest" });
}

function heldPart(act) {
  const { status, answer } = act.why;
  const clashes = act.cells.filter((cell) => cell.clash);
  const bad = [...new Set(act.cells.map((cell) => cell.row))].flatMap((row) =>
    [...(refused.get(row) ?? [])].map(([column, why]) => ({ row, column, why })));
  const part = make("div", { className: "held" });
  const button = (words, run) => make("button", { type: "button", textContent: words, onclick: run });
  const putBack = () => {
    acts.release(act);
    for (const cell of act.cells) {
      cell.row[cell.column] = cell.now ?? cell.before;
      refused.delete(cell.row);
      if (sent.delete(cell.row)) { view = view.filter((row) => row !== cell.row); }
    }
    said.textContent = say("as_before");
    show();
    keep();
    tellHeld();
    backToGrid();
  };
  if (clashes.length) {
    part.append(make("p", { textContent: say("clash") }));
    for (const [at, cell] of clashes.slice(0, LISTED).entries()) {
      const name = `clash-${acts.held.indexOf(act)}-${at}`;
      const choice = (mine, words) => make("label", { className: "tick" },
        make("input", { type: "radio", name, checked: Boolean(cell.mine) === mine, onchange: () => { cell.mine = mine; } }), make("span", { textContent: words }));
      part.append(make("fieldset", {}, make("legend", { textContent: nameOf(cell) }),
        choice(false, say("stands", { text: shownText(columns[cell.column], cell.now) || say("blank") })),
        choice(true, say("typed", { text: shownText(columns[cell.column], cell.after) || say("blank") }))));
    }
    if (clashes.length > LISTED) part.append(make("p", { textContent: say("and_more", { n: clashes.length - LISTED }) }));
    part.append(button(say("save_chosen"), () => {
      for (const cell of clashes) {
        if (!cell.mine) cell.row[cell.column] = cell.now;
        Object.assign(cell, { before: cell.now, clash: false });
        refused.delete(cell.row);
      }
      act.cells = act.cells.filter((cell) => !clashes.includes(cell) || cell.mine);
      acts.release(act);
      if (act.cells.length) again(act);
      keep();
      tellHeld();
      backToGrid();
    }));
  } else if (answer?.bad?.length) {
    part.append(make("p", { textContent: say("refused") }), make("ul", {}, ...bad.slice(0, LISTED).map((cell) => make("li", {},
      make("button", { type: "button", className: "link", textContent: nameOf(cell), onclick: () => goTo(cell.row, cell.column) }),
      `: ${cell.why} `, make("q", { textContent: cell.row[cell.column] })))));
    if (bad.length > LISTED) part.append(make("p", { textContent: say("and_more", { n: bad.length - LISTED }) }));
    const isBad = (cell) => refused.get(cell.row)?.has(cell.column);
    const others = act.cells.filter((cell) => !isBad(cell));
    if (others.length && !bad.some((cell) => cell.column === keyAt)) part.append(button(say("save_others"), () => {
      for (const cell of act.cells) if (isBad(cell)) cell.row[cell.column] = cell.now ?? cell.before;
      act.cells = others;
      again(act);
      backToGrid();
    }));
  } else {
    part.append(make("p", { textContent: say("failed", { why: reason(status, answer) }) }), make("p", { textContent: act.what }),
      button(say("try_again"), () => { again(act); backToGrid(); }));
  }
  part.append(button(say("put_back"), putBack));
  return part;
}

// -- what is shown ---------------------------------------------------------------------------------

const collator = new Intl.Collator(document.documentElement.lang || undefined, { numeric: true, sensitivity: "base" });
const LENGTH = /^(-?)\s*(?:(\d+(?:\.\d+)?)\s*(?:'|′|ft\.?))?\s*(\d+(?:[.,]\d+)?(?![\d/]))?[\s-]*(?:(\d+)\/(\d+))?\s*(?:"|″|in\.?)?/;

// A number to sort by, of "3.81", 7' 5 3/4" and 11 3/8 in alike; null where there is none.
function asNumber(text) {
  const [, minus, feet, plain, over, under] = LENGTH.exec(text.trim()) ?? [];
  if (!feet && !plain && !over) return null;
  const value = Number(feet ?? 0) * 12 + Number((plain ?? "0").replace(",", ".")) + (over ? over / under : 0);
  return minus ? -value : value;
}

function sorted(list) {
  if (!order) return list;
  const column = columns[order.at];
  const isNumber = ["number", "integer", "measure"].includes(column.kind);
  const valued = list.map((row) => {
    const text = shownText(column, row[order.at]);
    return [row, text, isNumber ? asNumber(text) : null];
  });
  const sign = order.down ? -1 : 1;
  valued.sort(([, a, x], [, b, y]) => {
    if (!a || !b) return (a ? 0 : 1) - (b ? 0 : 1); // what is blank comes last either way
    if (x !== null && y !== null && x !== y) return sign * (x - y);
    return sign * collator.compare(a, b);
  });
  return valued.map(([row]) => row);
}

function look() {
  const find = input.value.trim().toLowerCase();
  const coded = columns.filter((column) => column.options);
  const holds = (row) => row.some((text) => text.toLowerCase().includes(find))
    || coded.some((column) => shownText(column, row[column.at]).toLowerCase().includes(find));
  view = rows.filter((row) => (!foundOnly || findings.has(row[keyAt]))
    && [...wanted].every(([at, values]) => values.has(row[at])) && (!find || holds(row)));
  view = [...sorted(view), ...sent];
  show();
  tellCount();
  setColumns();
}

async function show() {
  const row = place && shown[place.y];
  shown = canEdit ? [...view, ...drafts, blank] : view;
  grid.source = shown;
  if (!row) return;
  const y = shown.indexOf(row);
  if (y >= 0 && y !== place.y && (await grid.getFocused())) focusOn(y, place.c);
  if (y >= 0) place.y = y;
}

let drawing = false;
function draw() {
  if (drawing) return;
  drawing = true;
  requestAnimationFrame(() => {
    drawing = false;
    grid.refresh("rgRow");
  });
}

let canEdit = true;
let foundOnly = false;

const ofCell = (row, column) => findings.get(row[keyAt])?.get(column) ?? [];

function cellProperties(column, row) {
  const why = refused.get(row)?.get(column.at);
  const found = why ? [] : ofCell(row, column.at);
  const classes = {};
  if (column.isNumber) classes.number = true;
  if (why) classes.refused = true;
  else if (found.length) classes[`found-${SEVERITIES.find((one) => found.some((finding) => finding.severity === one)) ?? "note"}`] = true;
  const properties = { class: classes };
  if (column.at === keyAt) properties.role = "rowheader";
  if (column.readonly && !isDraft(row)) properties["aria-readonly"] = "true";
  if (why || found.length) {
    properties.title = why ?? found.map((one) => `${say(one.severity)}: ${one.message} ${one.remedy ?? ""}`.trim()).join("\n");
    if (why || found.some((one) => one.severity !== "note")) properties["aria-invalid"] = "true";
  }
  return properties;
}

function setColumns() {
  const context = document.createElement("canvas").getContext("2d");
  context.font = `14px ${getComputedStyle(document.body).fontFamily}`;
  const width = (text) => context.measureText(text).width;
  grid.columns = columns.map((column) => {
    column.size ??= Math.round(Math.min(Math.max(width(column.heading) * 0.7 + 44,
      ...rows.slice(0, 200).map((row) => width(shownText(column, row[column.at]).slice(0, 60)) + 28), column.kind === "text" && column.at !== keyAt ? 150 : 90), 280));
    const mark = [
      order?.at === column.at && (order.down ? " ▼" : " ▲"),
      wanted.has(column.at) && " ⧩",
    ].filter(Boolean).join("");
    const states = [
      order?.at === column.at && say(order.down ? "sorted_down" : "sorted_up"),
      wanted.has(column.at) && say("filtered"),
    ].filter(Boolean);
    return {
      prop: String(column.at), // 0 as a number would be taken for none
      name: column.heading,
      size: NARROW.matches ? Math.min(column.size, 160) : column.size,
      pin: column.at === keyAt && !NARROW.matches ? "colPinStart" : undefined,
      readonly: ({ model }) => column.readonly && !isDraft(model),
      columnProperties: () => ({ "aria-sort": order?.at === column.at ? (order.down ? "descending" : "ascending") : "none" }),
      columnTemplate: (h) => h("button", {
        type: "button", class: "column", tabindex: -1, "aria-haspopup": "dialog", title: column.help || column.heading,
        "aria-label": [say("menu", { field: column.heading }), ...states].join(", "),
        onClick: (event) => openMenu(column, event.currentTarget),
      }, h("span", {}, column.heading), h("span", { class: "mark" }, mark)),
      cellTemplate: column.options || column.at === keyAt
        ? (h, { model }) => model === blank && column.at === keyAt
          ? h("span", { class: "quiet" }, `+ ${say("new_here")}`)
          : shownText(column, model[column.at])
        : undefined,
      cellProperties: ({ model }) => cellProperties(column, model),
    };
  });
}

// -- status ----------------------------------------------------------------------------------------

const count = make("p", { id: "shown", className: "quiet" });
const about = make("section", { id: "about-cell" });

function tellCount() {
  const found = findings.count ?? 0;
  count.textContent = [
    view.length === rows.length ? say("all_shown", { n: rows.length }) : say("shown", { n: view.length, all: rows.length }),
    say(found === 1 ? "finding" : "findings", { n: found }),
  ].join(" · ");
  buttons.all.disabled = view.length === rows.length && !wanted.size && !input.value && !foundOnly && !order;
}

function tellButtons() {
  buttons.undo.disabled = !acts.done.length && !acts.queue.length;
  buttons.redo.disabled = !acts.undone.length;
}

// The field of the chosen cell and what was found there, in words beside the grid: a title needs a mouse.
function tellCell() {
  const row = place && shown[place.y];
  if (!row) return;
  const column = inOrder()[place.c];
  const why = refused.get(row)?.get(column.at);
  const lines = why ? [[say("error"), why]] : ofCell(row, column.at).map((one) => [say(one.severity), `${one.message} ${one.remedy ?? ""}`]);
  const facts = [column.help, column.required && say("required"), column.readonly && !isDraft(row) && say("readonly")];
  about.replaceChildren(
    make("p", {}, make("b", { textContent: column.heading }), ` ${facts.filter(Boolean).join(" ")}`),
    ...lines.map(([severity, text]) => make("p", { className: "warning" }, make("b", { textContent: `${severity}: ` }), text)),
  );
}

// -- keyboard, clipboard, mouse --------------------------------------------------------------------

const inGrid = () => document.activeElement === document.body || grid.contains(document.activeElement);
const hasKeys = () => !editor && !away && inGrid() && !document.activeElement.matches("button.column");

// Columns in the order of the grid, with the pinned one first.
const inOrder = () => (NARROW.matches ? columns : [columns[keyAt], ...columns.filter((column) => column.at !== keyAt)]);
const placeIn = (c) => (NARROW.matches ? ["rgCol", c] : c ? ["rgCol", c - 1] : ["colPinStart", 0]);
const orderOf = (colType, x) => (colType === "rgCol" && !NARROW.matches ? x + 1 : x);
const cellAt = ({ y, c }) => {
  const [colType, x] = placeIn(c);
  return grid.querySelector(`revogr-data[type="rgRow"][col-type="${colType}"] [data-rgrow="${y}"][data-rgcol="${x}"]`);
};

// The selected cells, as {top, bottom, left, columns}; left and columns are those of inOrder.
function selection() {
  if (!place || away) return null;
  const { y, y1, c, c1 } = range ?? { y: place.y, y1: place.y, c: place.c, c1: place.c };
  return { top: y, bottom: y1, left: c, columns: inOrder().slice(c, c1 + 1) };
}

function goTo(row, at) {
  if (!shown.includes(row)) showAll();
  grid.focus({ preventScroll: true });
  focusOn(shown.indexOf(row), inOrder().findIndex((column) => column.at === at));
}

// The place is known at once, so that the next key finds it; what is drawn comes after.
function focusOn(y, c) {
  away = false;
  range = null;
  place = { y: Math.max(0, Math.min(y, shown.length - 1)), c: Math.max(0, Math.min(c, columns.length - 1)) };
  const [colType, x] = placeIn(place.c);
  grid.setCellsFocus({ x, y: place.y }, { x, y: place.y }, colType, "rgRow");
  setTimeout(toCell, 60);
}

// The keyboard goes where the focus is; keys in quick succession may have left it out of sight.
function toCell(tries = 20) {
  if (away || editor || !inGrid()) return;
  const cell = cellAt(place);
  if (cell) cell.focus({ preventScroll: true });
  else if (tries) {
    grid.scrollToRow(place.y);
    grid.scrollToColumnIndex(placeIn(place.c)[1]);
    setTimeout(toCell, 60, tries - 1);
  }
}

function backToGrid() {
  grid.focus({ preventScroll: true });
  focusOn(place?.y ?? 0, place?.c ?? 0);
}

async function leave() {
  away = true;
  await grid.clearFocus();
  grid.focus({ preventScroll: true });
}

function step(rowsOn, columnsOn) {
  const last = columns.length - 1;
  let [y, c] = [place.y + rowsOn, place.c + columnsOn];
  if (c > last && y < shown.length - 1) [y, c] = [y + 1, 0]; // Tab goes on in the next row
  else if (c < 0 && y > 0) [y, c] = [y - 1, last];
  focusOn(y, c);
}

function jump(event) {
  const page = Math.max(1, Math.floor(grid.querySelector(".vertical-inner").clientHeight / ROW) - 1);
  const far = event.ctrlKey || event.metaKey;
  let { y, c } = place;
  if (event.key === "PageDown") y += page;
  else if (event.key === "PageUp") y -= page;
  else if (event.key === "ArrowDown") y = Infinity;
  else if (event.key === "ArrowUp") y = 0;
  else {
    c = event.key === "Home" || event.key === "ArrowLeft" ? 0 : Infinity;
    if (far && event.key === "Home") y = 0;
    if (far && event.key === "End") y = Infinity;
  }
  focusOn(y, c);
}

// Opens the editor of the focused cell, with what was typed instead of what stands there, or null.
function edit(typed) {
  const column = inOrder()[place.c];
  const row = shown[place.y];
  if (!row || (column.readonly && !isDraft(row))) return;
  editor = new CellEditor(column, row, typed, (text, [down, right]) => {
    const { before } = editor;
    editor = null;
    if (text !== null) change([{ row, column: column.at, before, after: text }]);
    if (down || right) {
      grid.focus({ preventScroll: true });
      step(down, right);
    } else if (document.activeElement === document.body) backToGrid();
  });
  editor.start(box);
  let tries = 60; // the cell may have to be scrolled to and drawn first
  const lie = () => {
    if (editor && !layEditor() && tries--) requestAnimationFrame(lie);
  };
  lie();
}

function layEditor() {
  const y = shown.indexOf(editor.row);
  const cell = cellAt({ y, c: inOrder().indexOf(editor.column) });
  if (!cell) return false;
  const [of, around] = [cell.getBoundingClientRect(), box.getBoundingClientRect()];
  editor.lie(of.left - around.left, of.top - around.top, of.width, of.height);
  return true;
}

function fillDown() {
  const chosen = selection();
  if (!chosen) return;
  const { top, bottom, columns: across } = chosen;
  const from = top === bottom ? top - 1 : top;
  if (from < 0) return;
  const cells = [];
  for (let y = from + 1; y <= bottom; y += 1)
    for (const { at } of across)
      if (at !== keyAt && shown[y] !== blank) cells.push({ row: shown[y], column: at, after: shown[from][at] });
  change(cells);
}

// Cells of a spreadsheet: tabs and line ends, and quotes around what holds one of these.
function asCells(text) {
  const cells = [[]];
  const part = /(?:"((?:[^"]|"")*)"(?=[\t\r\n]|$)|([^\t\r\n]*))(\t|\r\n|\r|\n|$)/y;
  const whole = text.replace(/(\r\n|\r|\n)$/, "");
  for (let found = part.exec(whole); found; found = part.exec(whole)) {
    cells.at(-1).push(found[1] === undefined ? found[2] : found[1].replaceAll('""', '"'));
    if (!found[3]) break;
    if (found[3] !== "\t") cells.push([]);
  }
  return cells;
}

const asText = (cells) => cells.map((line) => line.map((text) =>
  (/[\t\r\n]|^"/.test(text) ? `"${text.replaceAll('"', '""')}"` : text)).join("\t")).join("\n");

function paste(text) {
  const chosen = selection();
  if (!chosen) return;
  const lines = asCells(text);
  const wide = Math.max(...lines.map((line) => line.length));
  const all = inOrder();
  // a block that goes into the selection without rest is repeated in it
  const [tall, broad] = [chosen.bottom - chosen.top + 1, chosen.columns.length];
  const repeats = tall % lines.length === 0 && broad % wide === 0;
  const [height, width] = repeats ? [tall, broad] : [lines.length, wide];
  const cells = [];
  for (let y = 0; y < height; y += 1) {
    let row = shown[chosen.top + y];
    if (!row) drafts.push(row = columns.map(() => ""));
    else if (row === blank) {
      drafts.push(row);
      blank = columns.map(() => "");
    }
    for (let x = 0; x < width; x += 1) {
      const column = all[chosen.left + x];
      const after = lines[y % lines.length][x % wide];
      if (column && after !== undefined) cells.push({ row, column: column.at, after: asCode(column, after.trim()) });
    }
  }
  drafts = drafts.filter((row) => row.some(Boolean) || cells.some((cell) => cell.row === row && cell.after));
  change(cells);
}

function copied() {
  const { top, bottom, columns: across } = selection();
  return asText(shown.slice(top, bottom + 1).map((row) => across.map(({ at }) => row[at])));
}

const ROW = 32;

function hearGrid() {
  grid.addEventListener("beforeeditstart", (event) => { // a double click
    event.preventDefault();
    edit(null);
  });
  grid.addEventListener("beforeedit", (event) => { // a single cell is cleared
    event.preventDefault();
    const { model, prop, val } = event.detail;
    change([{ row: model, column: Number(prop), after: String(val ?? "") }]);
  });
  grid.addEventListener("beforerangeedit", (event) => { // fill by the handle, and clear
    event.preventDefault();
    const cells = [];
    for (const [y, fields] of Object.entries(event.detail.data))
      for (const [prop, text] of Object.entries(fields)) {
        const row = event.detail.models[y];
        if (row && row !== blank) cells.push({ row, column: Number(prop), after: String(text ?? "") });
      }
    change(cells);
  });
  grid.addEventListener("beforekeydown", (event) => { // all other keys are heard in pressed()
    const { key, shiftKey, ctrlKey, metaKey } = event.detail.original;
    const library = (shiftKey && key in ARROWS) || key === "Delete" || key === "Backspace" || ((ctrlKey || metaKey) && key === "a");
    if (!library || !hasKeys()) event.preventDefault();
  });
  const hear = (name, run) => document.addEventListener(name, (event) => {
    if (!hasKeys()) return;
    event.preventDefault();
    run(event.clipboardData);
  });
  hear("paste", (data) => paste(data.getData("text/plain")));
  hear("copy", (data) => data.setData("text/plain", copied()));
  hear("cut", (data) => {
    data.setData("text/plain", copied());
    const { top, bottom, columns: across } = selection();
    change(shown.slice(top, bottom + 1).flatMap((row) => across.filter(({ at }) => at !== keyAt && row !== blank).map(({ at }) => ({ row, column: at, after: "" }))));
  });
  grid.addEventListener("setrange", ({ detail: { x, x1, y, y1 } }) => {
    const [colType] = placeIn(place.c);
    range = { y, y1, c: orderOf(colType, x), c1: orderOf(colType, x1) };
  });
  grid.addEventListener("selectall", () => { range = { y: 0, y1: shown.length - (canEdit ? 2 : 1), c: 0, c1: columns.length - 1 }; });
  grid.addEventListener("applyfocus", ({ detail }) => {
    away = false;
    range = null;
    if (inGrid()) grid.focus({ preventScroll: true }); // no longer on the head of a column; the cell follows
    place = { y: detail.range.y, c: orderOf(detail.colType, detail.range.x) };
  });
  box.addEventListener("afterfocus", (event) => {
    if (editor || !inGrid()) event.preventDefault(); // else the cell takes the keyboard away from it
    tellCell();
  }, true);
  for (const name of ["mousedown", "focusin"])
    document.addEventListener(name, ({ target }) => { if (!box.contains(target) && !menu.contains(target)) away = true; });
  box.addEventListener("mousedown", ({ target }) => {
    if (editor?.box.contains(target)) return;
    editor?.close([0, 0]);
    if (target.closest("revogr-data")) grid.focus({ preventScroll: true }); // from wherever it was
  }, true);
  grid.addEventListener("mouseup", (event) => { if (!event.target.closest("revogr-header")) setTimeout(toCell, 30); });
  for (const moved of ["viewportscroll", "aftercolumnresize"])
    grid.addEventListener(moved, () => requestAnimationFrame(() => { if (editor) layEditor(); }));
  addEventListener("resize", () => { if (editor) layEditor(); });
  addEventListener("keydown", pressed, true);
}

const ARROWS = { ArrowDown: [1, 0], ArrowUp: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };

function pressed(event) {
  if (editor || event.defaultPrevented) return;
  const far = event.ctrlKey || event.metaKey;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const active = document.activeElement;
  let run = null;
  if (active.matches("input, textarea, select")) return; // these undo what is typed in them
  if (far && key === "z") run = event.shiftKey ? () => acts.redo() : () => acts.undo();
  else if (far && key === "y") run = () => acts.redo();
  else if (!inGrid() || active.matches("button.column") || (active === document.body && away)) return;
  else if (away || active.matches(".vertical-inner")) { // in the table, on none of its cells
    if (key in ARROWS || key === "Enter" || key === "F2") run = backToGrid;
  } else if (far && key === "d") run = fillDown;
  else if (event.altKey && key === "ArrowDown") run = menuOfCell;
  else if (["PageUp", "PageDown", "Home", "End"].includes(key) || (far && !event.shiftKey && key in ARROWS)) run = () => jump(event);
  else if (key in ARROWS && !event.shiftKey && !event.altKey) run = () => step(...ARROWS[key]);
  else if (key === "Tab") run = () => step(0, event.shiftKey ? -1 : 1);
  else if (key === "F2" || key === "Enter") run = () => edit(null);
  else if (key === "Escape") run = leave;
  else if (key === "Process") { edit(""); return; } // what is composed goes into the editor
  else if (event.key.length === 1 && (!far || event.getModifierState("AltGraph"))) run = () => edit(event.key);
  if (!run) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  run();
}

// -- the menu of a column --------------------------------------------------------------------------

const menu = make("div", { id: "column-menu", popover: "auto" });
menu.setAttribute("role", "dialog");

function menuOfCell() {
  const [colType, x] = placeIn(place.c);
  openMenu(inOrder()[place.c], grid.querySelector(`revogr-viewport-scroll.${colType} revogr-header [data-rgcol="${x}"]`) ?? grid);
}

function openMenu(column, beside) {
  const button = (words, run, pressed) => {
    const node = make("button", { type: "button", textContent: words, onclick: () => { run(); menu.hidePopover(); } });
    node.setAttribute("aria-pressed", String(pressed));
    return node;
  };
  const sortBy = (one) => () => { order = one; look(); };
  const counts = new Map();
  for (const row of rows) counts.set(row[column.at], (counts.get(row[column.at]) ?? 0) + 1);
  const values = sortedValues(column, [...counts.keys()]);
  const list = make("div", { className: "values" });
  const find = make("input", { type: "search", id: "find-value", autocomplete: "off" });
  const fill = () => {
    const part = find.value.trim().toLowerCase();
    const fitting = values.filter((value) => `${value} ${shownText(column, value)}`.toLowerCase().includes(part));
    list.replaceChildren(...fitting.slice(0, 100).map((value) => make("label", { className: "tick" },
      make("input", {
        type: "checkbox", checked: Boolean(wanted.get(column.at)?.has(value)), onchange: (event) => {
          const set = wanted.get(column.at) ?? new Set();
          set[event.target.checked ? "add" : "delete"](value);
          if (set.size) wanted.set(column.at, set);
          else wanted.delete(column.at);
          look();
        },
      }), make("span", { textContent: `${shownText(column, value) || say("blank")} · ${counts.get(value)}` }))));
    if (fitting.length > 100) list.append(make("p", { className: "quiet", textContent: say("too_many", { n: 100 }) }));
  };
  find.addEventListener("input", fill);
  fill();
  const of = (down) => order?.at === column.at && order.down === down;
  menu.setAttribute("aria-label", say("menu", { field: column.heading }));
  menu.replaceChildren(
    make("h2", { textContent: column.heading }),
    make("p", { textContent: [column.help, column.required && say("required")].filter(Boolean).join(" ") }),
    make("p", { className: "row" },
      button(say("sort_up"), sortBy({ at: column.at, down: false }), of(false)),
      button(say("sort_down"), sortBy({ at: column.at, down: true }), of(true)),
      button(say("sort_none"), sortBy(null), !order)),
    make("fieldset", {}, make("legend", { textContent: say("show_values") }),
      make("label", { htmlFor: "find-value", textContent: say("find_value") }), find, list,
      button(say("no_filter"), () => { wanted.delete(column.at); look(); }, !wanted.has(column.at))),
  );
  menu.showPopover();
  const { left: x, bottom } = beside.getBoundingClientRect();
  menu.style.left = `${Math.max(4, Math.min(x, innerWidth - menu.offsetWidth - 4))}px`;
  menu.style.top = `${Math.max(4, Math.min(bottom, innerHeight - menu.offsetHeight - 4))}px`;
  menu.querySelector("button").focus();
}

function sortedValues(column, values) {
  const number = (value) => (column.isNumber ? asNumber(value) : null);
  return values.sort((a, b) => (number(a) ?? 0) - (number(b) ?? 0) || collator.compare(shownText(column, a), shownText(column, b)));
}

// -- the page around the grid ----------------------------------------------------------------------

const form = document.querySelector("form[role=search]") ?? make("form", {});
let input = form.querySelector("input");
const bar = make("div", { className: "actions" });
bar.setAttribute("role", "group");
bar.setAttribute("aria-label", say("actions"));
const buttons = {};

function addButton(name, words, run, disabled = false) {
  buttons[name] = make("button", { type: "button", textContent: words, disabled, onclick: run });
  bar.append(buttons[name]);
}

function showAll() {
  input.value = "";
  wanted.clear();
  order = null;
  foundOnly = false;
  buttons.found.setAttribute("aria-pressed", "false");
  look();
}

function buildPage() {
  if (!input) {
    input = make("input", { type: "search", id: "find", autocomplete: "off" });
    form.setAttribute("role", "search");
    form.append(make("label", { htmlFor: "find", textContent: say("search") }), input);
  }
  if (!form.isConnected) box.before(form);
  form.addEventListener("submit", (event) => { event.preventDefault(); look(); });
  let pause = 0;
  input.addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(look, 150); });
  if (canEdit) {
    addButton("undo", say("undo"), () => acts.undo(), true);
    addButton("redo", say("redo"), () => acts.redo(), true);
    addButton("add", say("new_row"), () => goTo(blank, keyAt));
    addButton("remove", say("remove_row"), () => {
      const row = place && shown[place.y];
      if (row) remove(row);
      else said.textContent = say("no_row");
    });
  }
  if (box.dataset.row) addButton("open", say("open_row"), () => {
    const row = place && shown[place.y];
    if (row?.[keyAt]) location.assign(box.dataset.row + encodeURIComponent(row[keyAt]));
    else said.textContent = say("no_row");
  });
  addButton("found", say("found_only"), () => {
    foundOnly = !foundOnly;
    buttons.found.setAttribute("aria-pressed", String(foundOnly));
    look();
  });
  buttons.found.setAttribute("aria-pressed", "false");
  addButton("all", say("show_all"), showAll, true);
  about.setAttribute("aria-label", say("about"));
  box.before(bar);
  problem.after(unsaved, count, about, make("details", { className: "quiet" },
    make("summary", { textContent: say("keys") }), make("p", { id: "grid-keys", textContent: say("keys_list") })));
  document.body.append(menu);
}

// Roles that the grid library gives otherwise than ARIA wants them.
function mendRoles() {
  const put = (node, name, value) => node.getAttribute(name) === value || node.setAttribute(name, value);
  const mend = () => {
    put(grid, "role", "grid");
    for (const node of grid.querySelectorAll(".header-rgRow.actual-rgRow")) put(node, "role", "row");
    for (const node of grid.querySelectorAll(".vertical-inner")) {
      put(node, "tabindex", "0");
      put(node, "role", "rowgroup");
    }
  };
  new MutationObserver(mend).observe(grid, { childList: true, subtree: true, attributes: true, attributeFilter: ["role"] });
  mend();
}

async function open() {
  said.textContent = say("loading");
  const answer = await asked("rows").catch(unanswered);
  said.textContent = "";
  if (!answer) return;
  keyAt = answer.columns.findIndex((column) => column.name === answer.key);
  const yesNo = [["yes", "yes"], ["no", "no"]];
  columns = answer.columns.map((column, at) => {
    return {
      ...column, at, of: keyAt,
      heading: column.unit ? `${column.title} (${column.unit})` : column.title,
      options: column.options ?? (column.kind === "yes_no" ? yesNo : null),
      isNumber: ["number", "integer", "measure"].includes(column.kind),
    };
  });
  rows = answer.rows;
  for (const row of rows) byKey.set(row[keyAt], row);
  view = [...rows];
  blank = columns.map(() => "");
  canEdit = columns.some((column) => !column.readonly);
  takeFindings(answer.findings);
  buildPage();
  Object.assign(grid, {
    range: true, useClipboard: false, canFocus: true, resize: true, filter: false,
    hideAttribution: true, rowSize: ROW, readonly: !canEdit, theme: "default",
  });
  grid.setAttribute("aria-describedby", "grid-keys");
  grid.setAttribute("aria-label", document.querySelector("h1")?.textContent ?? table);
  setColumns();
  takeUp();
  show();
  hearGrid();
  box.append(grid);
  mendRoles();
  NARROW.addEventListener("change", setColumns);
  tellCount();
  tellHeld();
  addEventListener("beforeunload", (event) => { if (acts.queue.length) event.preventDefault(); });
  listen();
  addEventListener("hashchange", toAddressed);
  grid.addEventListener("aftergridrender", () => setTimeout(toAddressed, 60), { once: true });
}

// The cell that the address names, as other pages link to it: #key=203&field=rings.
function toAddressed() {
  const named = new URLSearchParams(location.hash.slice(1));
  const row = byKey.get(named.get("key"));
  if (row) goTo(row, columns.find((column) => column.name === named.get("field"))?.at ?? keyAt);
}

open();
