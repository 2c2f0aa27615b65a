// The editor of one cell: a line of text, or a field with the list of the codes that it may hold.

import { say } from "./words.js";

let last = 0;

// The code that a text stands for: written as the code or its label, in any case; else the text.
export function asCode(column, text) {
  const plain = text.trim().toLowerCase();
  const found = column.options?.find(([code, label]) => code.toLowerCase() === plain || label.toLowerCase() === plain);
  return found ? found[0] : text;
}

export const shownText = (column, text) =>
  column.options?.find(([code]) => code === text)?.[1] ?? text;

// The grid library draws its own editor some frames after the key that opens it, and loses what is
// typed meanwhile; this one is there at once. `done(text, step)` hears what was typed and where the
// keyboard wants to go: [rows, columns]; `text` is null where nothing is to be changed.
export class CellEditor {
  constructor(column, row, typed, done) {
    Object.assign(this, { column, row, done, before: row[column.at] ?? "", open: true });
    this.box = document.createElement("div");
    this.box.className = "typing";
    const input = document.createElement(column.kind === "text" ? "textarea" : "input");
    Object.assign(input, { value: typed ?? shownText(column, this.before), autocomplete: "off", spellcheck: false, rows: 1 });
    if (column.kind === "number" || column.kind === "integer") input.inputMode = "decimal";
    input.setAttribute("aria-label", say("edit", { what: say("cell", { field: column.title, key: row[column.of] }) }));
    input.addEventListener("keydown", (event) => this.pressed(event));
    // the window may lose the keyboard and get it back; then nothing was left
    input.addEventListener("blur", () => { if (document.activeElement !== input) this.close([0, 0]); });
    this.box.append(input);
    this.input = input;
    this.typed = typed;
  }

  // Shows the editor in `parent` and gives it the keyboard.
  start(parent) {
    parent.append(this.box);
    this.input.focus({ preventScroll: true });
    if (this.typed === null && this.column.options) this.input.select();
    else this.input.setSelectionRange(this.input.value.length, this.input.value.length);
  }

  // Lies over the cell; the list of codes is shown when it is known where that is.
  lie(left, top, width, height) {
    Object.assign(this.box.style, { left: `${left}px`, top: `${top}px`, width: `${width}px`, height: `${height}px` });
    if (this.column.options && !this.list) this.offer(this.typed !== null);
    else if (this.list) this.lieList();
  }

  close(step, text = this.value()) {
    if (!this.open) return;
    this.open = false;
    this.box.remove();
    this.done(text, step);
  }

  value() {
    return this.column.options ? this.chosen ?? asCode(this.column, this.input.value) : this.input.value;
  }

  pressed(event) {
    event.stopPropagation();
    if (event.isComposing) return;
    if (this.list && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
      event.preventDefault();
      this.move(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Enter" && this.column.kind === "text" && (event.shiftKey || event.altKey)) {
      event.preventDefault();
      this.input.setRangeText("\n", this.input.selectionStart, this.input.selectionEnd, "end");
    } else if (event.key === "Enter" || event.key === "Tab") {
      event.preventDefault();
      const back = event.shiftKey ? -1 : 1;
      this.close(event.key === "Tab" ? [0, back] : [back, 0]);
    } else if (event.key === "Escape") {
      event.preventDefault();
      this.close([0, 0], null);
    }
  }

  // -- the list of codes, after the combobox pattern of the ARIA Authoring Practices --

  offer(narrowed) {
    const list = document.createElement("ul");
    list.id = `codes-${++last}`;
    list.className = "codes";
    list.popover = "manual";
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", this.column.title);
    for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "true"], ["aria-controls", list.id]])
      this.input.setAttribute(name, value);
    this.input.addEventListener("input", () => this.narrow());
    list.addEventListener("pointerdown", (event) => event.preventDefault());
    list.addEventListener("click", (event) => {
      const option = event.target.closest("[role=option]");
      if (option) this.close([1, 0], option.dataset.code);
    });
    this.box.append(list);
    this.list = list;
    this.draw(this.column.options);
    list.showPopover();
    this.lieList();
    if (narrowed) this.narrow();
    else this.mark(this.column.options.findIndex(([code]) => code === this.before));
  }

  lieList() {
    const { list } = this;
    const { left, top, bottom, width } = this.box.getBoundingClientRect();
    const below = innerHeight - bottom > top;
    list.style.left = `${Math.max(0, Math.min(left, innerWidth - Math.max(width, 224)))}px`;
    list.style.minWidth = `${Math.max(width, 224)}px`;
    list.style.maxHeight = `${Math.min(320, (below ? innerHeight - bottom : top) - 8)}px`;
    list.style.top = below ? `${bottom}px` : "auto";
    list.style.bottom = below ? "auto" : `${innerHeight - top}px`;
  }

  draw(options) {
    this.list.replaceChildren(...options.map(([code, label], index) => {
      const option = document.createElement("li");
      Object.assign(option, { id: `${this.list.id}-${index}`, textContent: label });
      option.dataset.code = code;
      option.setAttribute("role", "option");
      if (code !== label) option.append(Object.assign(document.createElement("small"), { textContent: ` ${code}` }));
      return option;
    }));
    this.list.hidden = !options.length;
  }

  narrow() {
    const wanted = this.input.value.trim().toLowerCase();
    const begins = ([code, label]) => [code, label].some((one) => one.toLowerCase().startsWith(wanted));
    const holds = ([code, label]) => !begins([code, label]) && `${label} ${code}`.toLowerCase().includes(wanted);
    this.draw([...this.column.options.filter(begins), ...this.column.options.filter(holds)]);
    this.mark(wanted ? 0 : -1);
  }

  move(step) {
    const count = this.list.children.length;
    const at = [...this.list.children].findIndex((one) => one.getAttribute("aria-selected") === "true");
    if (count) this.mark(at < 0 && step < 0 ? count - 1 : (at + step + count) % count);
  }

  mark(at) {
    [...this.list.children].forEach((one, index) => one.setAttribute("aria-selected", String(index === at)));
    const option = this.list.children[at];
    this.chosen = option?.dataset.code;
    if (option) this.input.setAttribute("aria-activedescendant", option.id);
    else this.input.removeAttribute("aria-activedescendant");
    option?.scrollIntoView({ block: "nearest" });
  }
}
