// The editor of one cell: a line of text, or a field with the list of the codes that it may hold.

import { say } from "./grid_words.js";

let last = 0;

// The code that a text stands for: written as the code or its label, in any case; else the text.
export function asCode(column, text) {
  const plain = text.trim().toLowerCase();
  const found = column.options?.find(([code, label]) => code.toLowerCase() === plain || label.toLowerCase() === plain);
  return found ? found[0] : text;
}

export const shownText = (column, text) =>
  column.options?.find(([code]) => code === text)?.[1] ?? text;

// A class of editors as the grid library wants one. `opened` and `closed` hear of each editor.
export function editorOf(column, opened, closed) {
  return class {
    constructor(data, save, cancel) {
      Object.assign(this, { row: data.model, column, save, cancel, before: data.model[column.at] ?? "" });
      opened(this);
    }

    render(h) {
      return h("div", { class: "typing", role: "gridcell" });
    }

    // the field is made once by hand, so that no drawing of the grid takes away what is being typed
    componentDidRender() {
      if (this.input) return;
      const typed = this.editCell.val !== this.before ? this.editCell.val : null;
      const input = document.createElement(column.kind === "text" ? "textarea" : "input");
      Object.assign(input, { value: typed ?? shownText(column, this.before), autocomplete: "off", spellcheck: false });
      if (column.kind === "number" || column.kind === "integer") input.inputMode = "decimal";
      input.setAttribute("aria-label", say("edit", { what: say("cell", { field: column.title, key: this.row[column.of] }) }));
      input.addEventListener("keydown", (event) => this.pressed(event));
      this.element.append(input);
      this.input = input;
      this.element.parentElement.setAttribute("role", "row"); // a grid has rows, and rows cells
      if (column.options) this.offer(typed !== null);
      input.focus();
      if (typed === null && column.options) input.select();
      else input.setSelectionRange(input.value.length, input.value.length);
    }

    appendPendingInput(text) {
      if (!this.input) return false;
      this.input.setRangeText(text, this.input.selectionStart, this.input.selectionEnd, "end");
      this.input.dispatchEvent(new Event("input"));
      this.input.focus();
      return true;
    }

    getValue() {
      return column.options ? this.chosen ?? asCode(column, this.input.value) : this.input.value;
    }

    pressed(event) {
      if (event.isComposing) return;
      if (this.list && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
        event.preventDefault();
        this.move(event.key === "ArrowDown" ? 1 : -1);
      } else if (event.key === "Enter" && event.shiftKey && column.kind === "text") {
        event.stopPropagation(); // a new line
      } else if (event.key === "Enter" || event.key === "Tab") {
        if (event.key === "Enter") event.preventDefault();
        this.save(this.getValue(), event.key === "Tab");
      }
    }

    // -- the list of codes, after the combobox pattern of the ARIA Authoring Practices --

    offer(narrowed) {
      const list = document.createElement("ul");
      list.id = `codes-${++last}`;
      list.className = "codes";
      list.popover = "manual";
      list.setAttribute("role", "listbox");
      list.setAttribute("aria-label", column.title);
      for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "true"], ["aria-controls", list.id]])
        this.input.setAttribute(name, value);
      this.input.addEventListener("input", () => this.narrow());
      list.addEventListener("pointerdown", (event) => event.preventDefault());
      list.addEventListener("click", (event) => {
        const option = event.target.closest("[role=option]");
        if (option) this.save(option.dataset.code, false);
      });
      this.element.append(list);
      this.list = list;
      this.draw(column.options);
      list.showPopover();
      const { left, top, bottom, width } = this.element.getBoundingClientRect();
      const below = innerHeight - bottom > top;
      list.style.left = `${Math.max(0, Math.min(left, innerWidth - Math.max(width, 224)))}px`;
      list.style.minWidth = `${Math.max(width, 224)}px`;
      list.style.maxHeight = `${Math.min(320, (below ? innerHeight - bottom : top) - 8)}px`;
      if (below) list.style.top = `${bottom}px`;
      else list.style.bottom = `${innerHeight - top}px`;
      if (narrowed) this.narrow();
      else this.mark(column.options.findIndex(([code]) => code === this.before));
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
      this.draw([...column.options.filter(begins), ...column.options.filter(holds)]);
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

    beforeDisconnect() {
      this.input?.blur();
    }

    disconnectedCallback() {
      closed(this);
    }
  };
}
