"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const by = (id) => document.getElementById(id);
  const make = (name, properties, ...children) => {
    const node = Object.assign(document.createElement(name), properties);
    node.append(...children);
    return node;
  };
  const OTHER = "\u0000";
  const points = [];
  let saved = true;

  // -- the picture: `zoom` pixels of the screen are one of the picture, which begins at left, top -

  const view = by("view");
  const plan = by("plan");
  let zoom = 1;
  let left = 0;
  let top = 0;
  plan.src = data.address;
  plan.width = data.width;
  plan.height = data.height;

  function whole() {
    zoom = Math.min(view.clientWidth / data.width, view.clientHeight / data.height);
    left = (view.clientWidth - data.width * zoom) / 2;
    top = (view.clientHeight - data.height * zoom) / 2;
    draw();
  }

  function zoomAt(times, x, y) {
    const wanted = Math.min(40, Math.max(0.02, zoom * times));
    left = x - (x - left) * wanted / zoom;
    top = y - (y - top) * wanted / zoom;
    zoom = wanted;
    draw();
  }

  const middle = () => [view.clientWidth / 2, view.clientHeight / 2];
  const pixelAt = (x, y) => [(x - left) / zoom, (y - top) / zoom];

  // -- the fit: one scale in every direction, by least squares; the command fits again, by weight -

  function fitted() {
    const known = points.filter((one) => one.kind === "known");
    if (known.length < 2) return null;
    const mean = (of) => known.reduce((sum, one) => sum + of(one), 0) / known.length;
    const [mx, my, gx, gy] = [mean((p) => p.px), mean((p) => -p.py), mean((p) => p.x), mean((p) => p.y)];
    let [a, b, squares] = [0, 0, 0];
    for (const one of known) {
      const [u, v, x, y] = [one.px - mx, -one.py - my, one.x - gx, one.y - gy];
      a += u * x + v * y;
      b += u * y - v * x;
      squares += u * u + v * v;
    }
    if (!(squares > 0)) return null;
    a /= squares;
    b /= squares;
    const scale = Math.hypot(a, b);
    if (!(scale > 0)) return null;
    const onGrid = (px, py) => {
      const [u, v] = [px - mx, -py - my];
      return [gx + a * u - b * v, gy + b * u + a * v];
    };
    return { scale, turn: Math.atan2(b, a) * 180 / Math.PI, onGrid, count: known.length };
  }

  const off = (fit, one) => {
    const [x, y] = fit.onGrid(one.px, one.py);
    return Math.hypot(one.x - x, one.y - y);
  };

  // -- what is shown ------------------------------------------------------------------------------

  const SVG = "http://www.w3.org/2000/svg";
  const shape = (name, attributes, text) => {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    if (text) node.textContent = text;
    return node;
  };
  const title = (one) => one.kind === "end" ? `${one.name} ${one.end.toUpperCase()}` : one.name;

  function draw() {
    plan.style.transform = `translate(${left}px, ${top}px) scale(${zoom})`;
    plan.classList.toggle("near", zoom > 3);
    const marks = by("marks");
    marks.replaceChildren();
    const at = (one) => [left + one.px * zoom, top + one.py * zoom];
    for (const one of points.filter((p) => p.kind === "end" && p.end === "a")) {
      const other = points.find((p) => p.kind === "end" && p.name === one.name && p.end === "b");
      if (!other) continue;
      const [[x1, y1], [x2, y2]] = [at(one), at(other)];
      marks.append(shape("line", { class: "end", x1, y1, x2, y2 }));
    }
    for (const one of points) {
      const [x, y] = at(one);
      marks.append(one.kind === "known"
        ? shape("path", { class: one.kind, d: `M${x - 9} ${y}h18M${x} ${y - 9}v18` })
        : shape("circle", { class: one.kind, cx: x, cy: y, r: one.kind === "end" ? 4 : 7 }));
      marks.append(shape("text", { x: x + 10, y: y - 6 }, title(one)));
    }
  }

  function list() {
    const fit = fitted();
    const worst = fit ? Math.max(...points.filter((p) => p.kind === "known").map((p) => off(fit, p))) : 0;
    const rows = points.map((one) => {
      const grid = one.kind === "known" ? [one.x, one.y] : fit ? fit.onGrid(one.px, one.py) : null;
      const away = one.kind === "known" && fit ? off(fit, one) : null;
      const out = make("button", { type: "button", textContent: "×", title: `Remove ${title(one)}` });
      out.setAttribute("aria-label", `Remove ${title(one)}`);
      out.addEventListener("click", () => { points.splice(points.indexOf(one), 1); changed(); });
      const row = make("tr", {}, make("td", { textContent: title(one) }),
        make("td", { textContent: grid ? grid[0].toFixed(2) : "" }),
        make("td", { textContent: grid ? grid[1].toFixed(2) : "" }),
        make("td", { textContent: away === null ? "" : `${(away * 100).toFixed(1)} cm` }),
        make("td", {}, out));
      row.classList.toggle("off", away !== null && fit.count > 2 && away === worst && away > 0.05);
      return row;
    });
    by("marked").tBodies[0].replaceChildren(...rows);
    by("fit").textContent = fit ? words(fit, worst) : "Mark two known points.";
  }

  function words(fit, worst) {
    const said = [`One pixel is ${(fit.scale * 1000).toFixed(2)} mm; turned ${fit.turn.toFixed(1)}°.`];
    if (data.dotsPerInch) {
      said.push(`At ${data.dotsPerInch.toFixed(0)} dots per inch that is 1:${(fit.scale * data.dotsPerInch / 0.0254).toFixed(1)}.`);
    }
    said.push(fit.count === 2 ? "Two points cannot be checked: mark a third."
      : `The worst of ${fit.count} known points is off by ${(worst * 100).toFixed(1)} cm.`);
    return said.join("\n");
  }

  // -- choosing -----------------------------------------------------------------------------------

  const kind = () => document.querySelector("input[name=kind]:checked").value;
  const end = () => document.querySelector("input[name=end]:checked").value;
  const setEnd = (value) => { document.querySelector(`input[name=end][value=${value}]`).checked = true; };
  const is = (one, what, name, side) => one.kind === what && one.name === name && one.end === side;

  function offer() {
    const what = kind();
    const lists = { known: data.datums, end: data.woods, hole: data.holes };
    const options = lists[what].map((one) => make("option", {
      value: one.name,
      textContent: what === "known" ? `${one.name} (${one.x.toFixed(2)}, ${one.y.toFixed(2)})` : `${one.name}: ${one.says}`,
    }));
    if (what === "known") options.push(make("option", { value: OTHER, textContent: "another point, with its coordinates" }));
    by("name").replaceChildren(...options);
    by("name-label").textContent = { known: "Which datum", end: "Which timber", hole: "Which sample" }[what];
    by("ends").hidden = what !== "end";
    setEnd("a");
    forward(false);
  }

  function forward(onwards) {
    // the next one that is not marked yet, below what was chosen
    const options = [...by("name").options];
    const marked = (name) => kind() === "end"
      ? ["a", "b"].every((side) => points.some((p) => is(p, "end", name, side)))
      : points.some((p) => is(p, kind(), name, ""));
    const from = onwards ? by("name").selectedIndex + 1 : 0;
    const next = options.findIndex((one, place) => place >= from && (one.value === OTHER || !marked(one.value)));
    if (next >= 0) by("name").selectedIndex = next;
    say();
  }

  function say() {
    const other = kind() === "known" && by("name").value === OTHER;
    by("own").hidden = !other;
    const name = other ? by("own-name").value.trim() || "the point" : by("name").value;
    const again = !other && points.some((p) => is(p, kind(), name, kind() === "end" ? end() : ""));
    by("next").textContent = !name ? "The record has none here."
      : again ? `${kind() === "end" ? `End ${end().toUpperCase()} of ${name}` : name} is marked; click to mark it again.`
        : kind() === "end" ? `Click end ${end().toUpperCase()} of ${name}.`
          : kind() === "hole" ? `Click the hole of ${name}.` : `Click ${name} in the picture.`;
  }

  const number = (text) => /^\s*[-+]?\d+([.,]\d+)?\s*$/.test(text) ? Number(text.replace(",", ".")) : NaN;

  function mark(px, py) {
    if (px < 0 || py < 0 || px > data.width || py > data.height) return;
    const one = { kind: kind(), name: by("name").value, end: "", px, py, x: null, y: null };
    if (one.kind === "known") {
      if (one.name === OTHER) {
        Object.assign(one, { name: by("own-name").value.trim(), x: number(by("own-x").value), y: number(by("own-y").value) });
        if (!one.name || Number.isNaN(one.x) || Number.isNaN(one.y)) {
          by("said").textContent = "Write the name, x and y of the point first.";
          return;
        }
      } else {
        const datum = data.datums.find((d) => d.name === one.name);
        Object.assign(one, { x: datum.x, y: datum.y });
      }
    }
    if (!one.name) return;
    if (one.kind === "end") one.end = end();
    const before = points.findIndex((p) => is(p, one.kind, one.name, one.end));
    if (before >= 0) points.splice(before, 1);
    points.push(one);
    by("said").textContent = `${title(one)} is marked${before >= 0 ? " again" : ""}.`;
    if (one.kind === "end" && one.end === "a") setEnd("b");
    else {
      setEnd("a");
      if (by("name").value === OTHER) for (const id of ["own-name", "own-x", "own-y"]) by(id).value = "";
      forward(true);
    }
    changed();
  }

  function changed() {
    saved = false;
    draw();
    list();
    say();
  }

  function undo() {
    const one = points.pop();
    if (!one) return;
    by("said").textContent = `${title(one)} is removed.`;
    if (one.kind === kind() && [...by("name").options].some((o) => o.value === one.name)) {
      by("name").value = one.name;
      if (one.end) setEnd(one.end);
    }
    changed();
  }

  for (const one of document.querySelectorAll("input[name=kind]")) one.addEventListener("change", offer);
  for (const one of document.querySelectorAll("input[name=end]")) one.addEventListener("change", say);
  by("name").addEventListener("change", () => { setEnd("a"); say(); });
  by("own-name").addEventListener("input", say);
  by("scale").addEventListener("input", () => { saved = false; });
  by("undo").addEventListener("click", undo);
  by("whole").addEventListener("click", whole);
  for (const one of document.querySelectorAll("[data-zoom]")) {
    one.addEventListener("click", () => zoomAt(Number(one.dataset.zoom), ...middle()));
  }

  // -- mouse, fingers and keys --------------------------------------------------------------------

  const within = (event) => {
    const box = view.getBoundingClientRect();
    return [event.clientX - box.left - view.clientLeft, event.clientY - box.top - view.clientTop];
  };
  view.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoomAt(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), ...within(event));
  }, { passive: false });
  const held = new Map();
  let moved = false;
  view.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    view.setPointerCapture(event.pointerId);
    if (!held.size) moved = false;
    held.set(event.pointerId, within(event));
  });
  view.addEventListener("pointermove", (event) => {
    const from = held.get(event.pointerId);
    if (!from) return;
    const now = within(event);
    const others = [...held].filter(([id]) => id !== event.pointerId).map(([, place]) => place);
    if (others.length) {
      const [other] = others;
      const apart = (place) => Math.hypot(place[0] - other[0], place[1] - other[1]) || 1;
      moved = true;
      zoomAt(apart(now) / apart(from), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
    } else {
      // a hand that clicks moves a little
      if (!moved && Math.hypot(now[0] - from[0], now[1] - from[1]) < 4) return;
      moved = true;
      left += now[0] - from[0];
      top += now[1] - from[1];
      draw();
    }
    held.set(event.pointerId, now);
  });
  view.addEventListener("pointerup", (event) => {
    if (held.delete(event.pointerId) && !held.size && !moved) mark(...pixelAt(...within(event)));
  });
  view.addEventListener("pointercancel", (event) => held.delete(event.pointerId));
  view.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? 1 : 40;
    const ways = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (ways[event.key]) {
      left += ways[event.key][0];
      top += ways[event.key][1];
      draw();
    } else if (event.key === "+" || event.key === "=") zoomAt(1.25, ...middle());
    else if (event.key === "-") zoomAt(0.8, ...middle());
    else if (event.key === "Enter") mark(...pixelAt(...middle()));
    else return;
    event.preventDefault();
  });
  document.addEventListener("keydown", (event) => {
    const typing = /^(TEXTAREA|SELECT|INPUT)$/.test(event.target.tagName) && event.target.type !== "radio";
    if (typing || event.altKey) return;
    if (event.key === "u" || (event.key === "z" && (event.ctrlKey || event.metaKey))) {
      event.preventDefault();
      undo();
    }
  });

  // -- saving, and going on -----------------------------------------------------------------------

  const cell = (text) => {
    const safe = /^[=+@\t]|^-[^\d]/.test(text) ? `'${text}` : text;
    return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  };

  by("save").addEventListener("click", () => {
    const rows = [{ kind: "picture", name: data.sha256 }];
    const scale = by("scale").value.replace(/\s/g, "").replace(/^1:/, "");
    if (scale) rows.push({ kind: "scale", name: scale });
    for (const one of points) {
      rows.push({ kind: one.kind, name: one.name, end: one.end, pixel_x: one.px.toFixed(2), pixel_y: one.py.toFixed(2),
        x_m: one.x === null ? "" : String(one.x), y_m: one.y === null ? "" : String(one.y) });
    }
    const lines = [data.columns, ...rows.map((row) => data.columns.map((name) => row[name] || ""))];
    const text = lines.map((line) => line.map(cell).join(",")).join("\n") + "\n";
    const address = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    const link = make("a", { href: address, download: data.saveAs });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
    saved = true;
    by("said").textContent = `Saved ${points.length} point${points.length === 1 ? "" : "s"} as ${data.saveAs} in your downloads folder.`;
  });

  const cells = (text) => {
    const rows = [[""]];
    let quoted = false;
    for (let at = 0; at < text.length; at += 1) {
      const [sign, row] = [text[at], rows.at(-1)];
      if (quoted && sign === '"' && text[at + 1] === '"') { row[row.length - 1] += '"'; at += 1; }
      else if (sign === '"') quoted = !quoted;
      else if (!quoted && sign === ",") row.push("");
      else if (!quoted && sign === "\n") rows.push([""]);
      else if (quoted || sign !== "\r") row[row.length - 1] += sign;
    }
    return rows;
  };

  by("open").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    const [head, ...lines] = cells((await file.text()).replace(/^\ufeff/, ""));
    const found = lines.map((line) => Object.fromEntries(head.map((name, at) => [name, (line[at] || "").replace(/^'/, "")])));
    const sum = found.find((row) => row.kind === "picture");
    if (!head.includes("pixel_x") || (sum && sum.name !== data.sha256)) {
      by("said").textContent = sum ? "These points were marked on another picture." : "This file was not saved by this page.";
      return;
    }
    points.length = 0;
    for (const row of found) {
      if (row.kind === "scale") by("scale").value = row.name;
      const datum = data.datums.find((one) => one.name === row.name);
      const one = { kind: row.kind, name: row.name, end: row.end || "", px: number(row.pixel_x || ""), py: number(row.pixel_y || ""),
        x: datum ? datum.x : number(row.x_m || ""), y: datum ? datum.y : number(row.y_m || "") };
      if (one.kind !== "known") Object.assign(one, { x: null, y: null });
      if (["known", "end", "hole"].includes(one.kind) && !Number.isNaN(one.px + one.py + one.x + one.y)) points.push(one);
    }
    offer();
    changed();
    by("said").textContent = `Read ${points.length} points.`;
  });

  window.addEventListener("beforeunload", (event) => { if (!saved && points.length) event.preventDefault(); });
  window.addEventListener("resize", draw);
  offer();
  whole();
})();
