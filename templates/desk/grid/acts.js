// Sends what a person does in a table to the server, one act after the other. What was typed stays in
// the tab until the server has answered it; `before` in each cell keeps it from overwriting others.

const PAUSES = [500, 1000, 2000, 4000];
const GONE = new Set([502, 503, 504]);

export class Acts {
  // `hear` has answered(act, answer), refused(act, status, answer), silent() and answering()
  constructor(table, token, hear, base = "") {
    Object.assign(this, { table, token, hear, base, queue: [], held: [], done: [], undone: [] });
    this.storage = `desk ${base} ${table}`;
    this.tries = 0;
    this.answers = 0;
    this.working = false;
    this.wake = () => {};
  }

  // What was typed in this tab and never answered: [{cells: [{key, field, before, after}]}].
  kept() {
    return JSON.parse(sessionStorage.getItem(this.storage) ?? "[]");
  }

  // `acts` and `drafts` are written in words of the server, so that another load of the page can use them.
  keep(drafts) {
    const acts = [...this.held, ...this.queue].filter((act) => act.cells);
    const all = acts.map((act) => ({ cells: act.words() }));
    if (drafts.length) all.push({ drafts });
    if (all.length) sessionStorage.setItem(this.storage, JSON.stringify(all));
    else sessionStorage.removeItem(this.storage);
  }

  get waiting() {
    return this.queue.length + this.held.length > 0;
  }

  // Every cell that is not answered yet, as row → column → its cells, one an act.
  open() {
    const cells = new Map();
    for (const act of [...this.held, ...this.queue])
      for (const cell of act.cells ?? []) {
        if (!cells.has(cell.row)) cells.set(cell.row, new Map());
        const ofRow = cells.get(cell.row);
        ofRow.set(cell.column, [...(ofRow.get(cell.column) ?? []), cell]);
      }
    return cells;
  }

  add(act) {
    this.queue.push(act);
    this.work();
  }

  undo() {
    this.add({ path: `${this.base}/acts/undo`, from: this.done, to: this.undone, words: () => ({ act: this.done.at(-1).act }) });
  }

  redo() {
    this.add({ path: `${this.base}/acts/undo`, from: this.undone, to: this.done, words: () => ({ act: this.undone.at(-1).act }) });
  }

  release(act) {
    this.held = this.held.filter((one) => one !== act);
  }

  async work() {
    if (this.working) return;
    this.working = true;
    while (this.queue.length) {
      const act = this.queue[0];
      if (act.from && !act.from.length) {
        this.queue.shift();
        this.hear.refused(act, 0, "");
        continue;
      }
      let response;
      let answer;
      try {
        response = await fetch(act.path ?? `${this.base}/tables/${encodeURIComponent(this.table)}/cells`, {
          method: "POST",
          headers: { "Content-Type": "application/json", "X-Desk-Act": this.token },
          body: JSON.stringify(act.words()),
        });
        answer = response.headers.get("Content-Type")?.startsWith("application/json")
          ? await response.json()
          : await response.text();
        if (GONE.has(response.status)) throw new TypeError(answer);
      } catch (fault) {
        if (!(fault instanceof TypeError)) throw fault; // a network that fails is a TypeError (Fetch, 5.6)
        this.hear.silent();
        const pause = PAUSES[Math.min(this.tries++, PAUSES.length - 1)];
        await new Promise((go) => { this.wake = go; setTimeout(go, pause); });
        continue;
      }
      if (this.tries) this.hear.answering();
      this.tries = 0;
      this.answers += 1;
      this.queue.shift();
      if (response.ok) this.note(act, answer);
      else {
        if (act.from) act.from.pop(); // else the same would stand in the way of all before it
        else if (act.cells) this.held.push(act);
        this.hear.refused(act, response.status, answer);
      }
    }
    this.working = false;
  }

  note(act, answer) {
    if (act.from) {
      const entry = act.from.pop();
      act.to.push({ ...entry, act: answer.act });
      act.entry = entry;
    } else {
      this.done.push({ act: answer.act, keys: act.keys(), what: act.what });
      this.undone.length = 0;
    }
    this.hear.answered(act, answer);
  }
}
