// The plan: draws the record over a scan or a grid, and sends what is marked to the server.
// A place is [x, y] in meters of the site grid; a pixel [x, y] counts from the upper left corner.

const L = window.L;
const by = (id) => document.getElementById(id);
const page = by('plan-page');
const words = JSON.parse(by('plan-words').textContent);
const {at, place, file, level} = page.dataset;
const say = (key, values = {}) => words[key].replace(/\{(\w+)\}/g, (_, name) => values[name] ?? '');
const make = (name, properties = {}, ...children) => {
  const node = Object.assign(document.createElement(name), properties);
  node.append(...children);
  return node;
};
const head = document.querySelector('meta[name=act]').content;
const MOST_LISTED = 200;
const MOST_LABELS = 400;
const MOST_SHAPES = 1500;
const STEP = 40;

async function ask(way, sent) {
  const options = {headers: {Accept: 'application/json'}};
  if (sent) {
    options.method = 'POST';
    options.headers['X-Desk-Act'] = head;
    options.headers['Content-Type'] = 'application/json';
    options.body = JSON.stringify({place, file, ...sent});
  }
  let answer;
  try {
    answer = await fetch(way, options);
  } catch {
    throw new Error(words.silent);
  }
  const to = answer.headers.get('HX-Redirect');
  if (to) { window.location.assign(to); return null; }
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.problem);
  return told;
}

const query = `?place=${encodeURIComponent(place)}&file=${encodeURIComponent(file)}&level=${encodeURIComponent(level)}`;
const data = await ask(`${at}/plan-data${query}`);
const scan = data.scan;
const points = data.before?.points ?? [];
let fit = data.fit ?? null;
let chosen = '';
let readings = null;

// -- from the grid to the map and back --------------------------------------------------------------

function inverse([[a, b, c], [d, e, f], [g, h, i]]) {
  const rows = [[e * i - f * h, c * h - b * i, b * f - c * e], [f * g - d * i, a * i - c * g, c * d - a * f], [d * h - e * g, b * g - a * h, a * e - b * d]];
  const size = a * rows[0][0] + b * rows[1][0] + c * rows[2][0];
  return rows.map((row) => row.map((value) => value / size));
}

function led(matrix, [x, y]) {
  const [u, v, w] = matrix.map((row) => row[0] * x + row[1] * y + row[2]);
  return [u / w, v / w];
}

let toPixel = null;
function takeMatrix() {
  const matrix = fit?.matrix ?? data.matrix;
  toPixel = matrix ? inverse(matrix) : null;
}
takeMatrix();

const isDrawn = () => !scan || toPixel;
const onMap = (spot) => {
  const [x, y] = scan ? led(toPixel, spot) : spot;
  return L.latLng(scan ? -y : y, x);
};
const ofPixel = (point) => L.latLng(-point.pixel_y, Number(point.pixel_x));

// -- the map ---------------------------------------------------------------------------------------

const map = L.map('plan-map', {
  crs: L.CRS.Simple, minZoom: scan ? -6 : 0, maxZoom: scan ? 5 : 10, zoomSnap: 0.25, keyboard: false, preferCanvas: true,
  attributionControl: false, doubleClickZoom: false, zoomControl: false,
  zoomAnimation: !matchMedia('(prefers-reduced-motion: reduce)').matches,
});
L.control.zoom({zoomInTitle: words.larger, zoomOutTitle: words.smaller}).addTo(map);
const ground = L.layerGroup().addTo(map);
const record = L.layerGroup().addTo(map);
const signs = L.layerGroup().addTo(map);
const mine = L.layerGroup().addTo(map);

function everywhere() {
  const spots = [...data.places.flatMap((one) => one.outline), ...data.woods.flatMap((one) => one.outline), ...data.marks.flatMap((one) => one.at)];
  return spots.length ? L.latLngBounds(spots.map(onMap)) : L.latLngBounds([[0, 0], [10, 10]]);
}

if (scan) {
  const whole = L.latLngBounds([[-scan.height, 0], [0, scan.width]]);
  L.imageOverlay(scan.at, whole, {alt: ''}).addTo(map);
  map.fitBounds(whole);
} else {
  map.fitBounds(everywhere().pad(0.05));
}

// lines of the site grid, where no scan shows the walls
function drawGrid() {
  ground.clearLayers();
  if (scan) return;
  const bounds = map.getBounds().pad(0.1);
  const unit = data.unit.metres;
  const wide = (bounds.getEast() - bounds.getWest()) / unit / 8;
  const power = 10 ** Math.floor(Math.log10(wide));
  const step = [1, 2, 5, 10].map((times) => times * power).find((one) => one >= wide);
  const label = (text, spot, side) => L.marker(spot, {interactive: false, keyboard: false, icon: L.divIcon({className: `plan-tick ${side}`, iconSize: null, html: make('span', {textContent: text})})}).addTo(ground);
  const edge = map.getBounds();
  for (const [low, high, isX] of [[bounds.getWest(), bounds.getEast(), true], [bounds.getSouth(), bounds.getNorth(), false]]) {
    for (let number = Math.ceil(low / unit / step); number * step * unit < high; number += 1) {
      const value = number * step * unit;
      const line = isX ? [[bounds.getSouth(), value], [bounds.getNorth(), value]] : [[value, bounds.getWest()], [value, bounds.getEast()]];
      L.polyline(line, {color: '#b9c3c9', weight: 1, interactive: false}).addTo(ground);
      const text = `${Number((number * step).toPrecision(8))} ${data.unit.name}`;
      label(text, isX ? [edge.getSouth(), value] : [value, edge.getWest()], isX ? 'below' : 'left');
    }
  }
}

// -- what the record has ---------------------------------------------------------------------------

const larger = () => Number(by('plan-larger').value);

function ellipse([x, y], [major, minor, bearing]) {
  const turn = bearing * Math.PI / 180;
  const ring = [];
  for (let part = 0; part < 36; part += 1) {
    const [u, v] = [major * Math.cos(part * Math.PI / 18), minor * Math.sin(part * Math.PI / 18)];
    ring.push(onMap([x + larger() * (u * Math.sin(turn) + v * Math.cos(turn)), y + larger() * (u * Math.cos(turn) - v * Math.sin(turn))]));
  }
  return ring;
}

const rangeStyle = {color: '#5b2a86', weight: 1.2, dashArray: '4 3', fill: false, interactive: false};

function drawRecord() {
  record.clearLayers();
  if (!isDrawn()) return;
  for (const one of data.places) {
    L.polyline([...one.outline, one.outline[0]].map(onMap), {color: '#50565a', weight: 1.2, dashArray: '8 4 2 4', interactive: false}).addTo(record);
  }
  const view = map.getBounds().pad(0.5);
  const inView = data.woods.length > MOST_SHAPES ? data.woods.filter((one) => view.contains(onMap(one.outline[0]))) : data.woods;
  // so many are lines only, of one shape; nearer they have their outlines
  const areMany = inView.length > MOST_SHAPES;
  if (areMany) L.polyline(inView.flatMap(({ends: {a, b}}) => a.at.flatMap((from) => b.at.map((to) => [from, to].map(onMap)))), {color: '#3b2f1c', weight: 1, interactive: false}).addTo(record);
  for (const one of areMany ? inView.filter((wood) => chosen === `wood:${wood.name}`) : inView) {
    const style = {color: '#3b2f1c', weight: chosen === `wood:${one.name}` ? 4 : 1.4, dashArray: one.doubt || one.loose ? '5 4' : null, fillColor: one.sampled ? '#c9a86a' : '#e9dfca', fillOpacity: scan ? 0.35 : 0.8};
    const {a, b} = one.ends;
    const shapes = one.doubt
      ? a.at.flatMap((from) => b.at.map((to) => L.polyline([from, to].map(onMap), style)))
      : [L.polygon(one.outline.map(onMap), style)];
    for (const shape of shapes) shape.on('click', () => { if (isLooking()) choose(`wood:${one.name}`); }).addTo(record);
    if (!one.doubt && !one.upright) L.polyline([one.outline[0], one.outline[3]].map(onMap), {...style, weight: 3, interactive: false}).addTo(record);
    if (chosen === `wood:${one.name}`) for (const end of [a, b]) if (end.range) L.polygon(ellipse(end.at[0], end.range), rangeStyle).addTo(record);
  }
  for (const one of data.marks) {
    if (one.range) L.polygon(ellipse(one.at[0], one.range), rangeStyle).addTo(record);
    for (const spot of one.at) L.circleMarker(onMap(spot), {radius: 3, color: '#111', weight: 1, fillColor: one.doubt ? '#fff' : '#111', fillOpacity: 1, interactive: false}).addTo(record);
  }
  for (const one of fit?.known ?? []) {
    const [x, y] = one.at;
    L.polyline([[x, y], [x - one.off_m[0] * larger(), y - one.off_m[1] * larger()]].map(onMap), {color: '#a3160b', weight: 2.5, interactive: false}).addTo(record);
  }
}

// the ends in doubt have signs of their own
const doubtedEnds = data.woods.flatMap((wood) => Object.entries(wood.ends).filter(([, end]) => end.doubt).map(([end, spot]) => ({...spot, key: `end:${wood.name}:${end}`, kind: 'end', name: wood.name, end, label: `${wood.name} ${end.toUpperCase()}`, says: wood.says})));
const marks = [...data.marks, ...doubtedEnds];

function title(one) {
  if (one.kind === 'hole') return say(one.cut ? 'cut' : one.label === one.name && !one.label ? 'unstamped' : 'hole', {name: one.name, stamp: one.label, wood: one.wood});
  if (one.kind === 'end') return say('end', {name: one.name, end: one.end.toUpperCase()});
  return say(one.kind, {name: one.name, title: one.title});
}

function sign(className, text, name, spot, options = {}) {
  const html = make('span', {className: 'plan-label', textContent: text});
  const marker = L.marker(spot, {icon: L.divIcon({className: `plan-sign ${className}`, iconSize: [24, 24], html}), keyboard: true, riseOnHover: true, ...options});
  marker.on('add', () => marker.getElement().setAttribute('aria-label', name));
  return marker;
}

// what is being marked shows its name there
const isMarkedHere = (one) => points.some((other) => other.name === one.name && (other.kind === one.kind || (other.kind === 'known' && one.kind === 'datum')));

function drawSigns() {
  const focused = document.activeElement?.dataset?.key;
  signs.clearLayers();
  if (!isDrawn()) return;
  const view = map.getBounds().pad(0.05);
  const inView = marks.flatMap((one) => one.at.map((spot, number) => ({one, number, where: onMap(spot)}))).filter((sight) => view.contains(sight.where));
  if (inView.length > MOST_LABELS) return;
  const taken = [];
  for (const {one, number, where} of inView) {
    const screen = map.latLngToContainerPoint(where);
    const text = `${one.doubt ? '? ' : ''}${one.label}${one.shares.length > 1 ? ` ${one.shares[number]}` : ''}`;
    const wide = 8 * text.length + 16;
    const crowded = taken.some(([x, y, other]) => Math.abs(y - screen.y) < 14 && screen.x < x + other && x < screen.x + wide);
    const isBare = one.key !== chosen && ((crowded && one.at.length === 1) || isMarkedHere(one));
    const middle = one.at.reduce((sum, spot) => sum + onMap(spot).lng, 0) / one.at.length;
    const isLeft = where.lng < middle - 1e-9;
    if (!isBare) taken.push([screen.x, screen.y, wide]);
    const name = one.at.length > 1 ? say('place_of', {name: title(one), number: number + 1, count: one.at.length, share: one.shares[number]}) : title(one);
    const kind = one.kind === 'hole' && one.cut ? 'cut' : one.kind;
    const classes = [kind, one.doubt && 'doubt', isBare && 'bare', isLeft && 'other', one.key === chosen && 'chosen'].filter(Boolean).join(' ');
    const marker = sign(classes, text, one.doubt ? `${name}, ${words.doubt}` : name, where);
    marker.on('click', () => choose(one.key, number)).addTo(signs);
    const button = marker.getElement();
    button.dataset.key = `${one.key}/${number}`;
    button.addEventListener('keydown', (event) => {
      if (event.key === 'Enter' || event.key === ' ') { event.preventDefault(); choose(one.key, number); }
    });
  }
  if (focused) signs.eachLayer((marker) => { if (marker.getElement()?.dataset.key === focused) marker.getElement().focus({preventScroll: true}); });
}

// -- the list, and what is said of one entry --------------------------------------------------------

const entries = [
  ...marks.map((one) => ({...one, sort: one.doubt ? 0 : 1})),
  ...data.woods.map((one) => ({...one, key: `wood:${one.name}`, kind: 'wood', at: [...one.ends.a.at, ...one.ends.b.at]})),
  ...data.places.map((one) => ({...one, key: `place:${one.name}`, kind: 'place', at: one.outline, says: []})),
];
const byKey = new Map(entries.map((one) => [one.key, one]));

function list() {
  const kind = by('plan-show').value;
  const text = by('plan-find').value.trim().toLowerCase();
  const found = entries.filter((one) => (!kind || (kind === 'doubt' ? one.doubt : one.kind === kind)) && (!text || `${one.name} ${one.label ?? ''} ${one.title ?? ''}`.toLowerCase().includes(text)));
  by('plan-list').replaceChildren(...found.slice(0, MOST_LISTED).map((one) => {
    const button = make('button', {type: 'button', textContent: `${one.doubt ? '? ' : ''}${title(one)}${one.doubt ? `, ${words.doubt}` : ''}`});
    button.setAttribute('aria-pressed', String(one.key === chosen));
    button.dataset.key = one.key;
    button.addEventListener('click', () => choose(one.key));
    return make('li', {}, button);
  }));
  by('plan-more').textContent = found.length > MOST_LISTED ? say('more', {count: found.length - MOST_LISTED}) : found.length ? '' : words.none;
}

function choose(key, number = -1) {
  const one = byKey.get(key);
  if (!one) return;
  chosen = key;
  if (isDrawn()) {
    const spots = (number < 0 ? one.at : [one.at[number]]).map(onMap);
    if (spots.length > 1) map.fitBounds(L.latLngBounds(spots).pad(0.5), {maxZoom: Math.max(map.getZoom(), scan ? 0 : 6)});
    else if (!map.getBounds().pad(-0.1).contains(spots[0])) map.panTo(spots[0]);
  }
  drawRecord();
  drawSigns();
  for (const button of by('plan-list').querySelectorAll('button')) button.setAttribute('aria-pressed', String(button.dataset.key === key));
  about(one);
}

async function about(one) {
  const parts = [make('h3', {textContent: title(one)}), ...one.says.map((text) => make('p', {textContent: text}))];
  const keys = one.kind === 'wood' ? ['a', 'b'].map((end) => `end:${one.name}:${end}`) : [one.key];
  const links = make('p', {className: 'plan-links'});
  const timber = one.kind === 'hole' ? one.wood : one.kind === 'place' || one.kind === 'datum' ? '' : one.name;
  if (timber) links.append(make('a', {href: `${at}/timbers/${encodeURIComponent(timber)}`, textContent: say('open', {name: timber})}), ' ');
  if (by('plan-ties') && one.kind !== 'place') {
    const tape = make('button', {type: 'button', textContent: words.tape});
    tape.addEventListener('click', () => { target(one.kind === 'wood' ? 'end' : one.kind, one.name, one.end ?? 'a'); by('1-from_datum_id').focus(); });
    links.append(tape, ' ');
  }
  if (by('plan-mark') && ['hole', 'wood', 'end'].includes(one.kind)) {
    const again = make('button', {type: 'button', textContent: words.mark});
    again.addEventListener('click', () => { pick(one.kind === 'hole' ? 'hole' : 'end', one.name, one.end ?? 'a'); by('plan-map').focus(); });
    links.append(again);
  }
  by('plan-about').replaceChildren(...parts, links);
  if (one.kind === 'place') return;
  try {
    readings ??= await ask(`${at}/plan-readings${query}`);
  } catch (error) {
    by('plan-about').append(make('p', {className: 'warning', textContent: error.message}));
    return;
  }
  if (chosen !== one.key) return;
  for (const key of keys) {
    const rows = readings[key];
    if (!rows) continue;
    const table = make('table', {}, make('caption', {textContent: `${words.readings}: ${key.startsWith('end:') ? say('end', {name: one.name, end: key.slice(-1).toUpperCase()}) : title(one)}`}),
      make('thead', {}, make('tr', {}, ...['reading', 'measured', 'computed', 'off_by', 'times_head', 'fits'].map((head) => make('th', {scope: 'col', textContent: words[head]})))),
      make('tbody', {}, ...rows.map((row) => make('tr', {}, ...['reading', 'measured', 'computed', 'off_by', 'times', 'remark'].map((name) => make('td', {textContent: row[name]}))))));
    const wide = make('div', {className: 'wide', tabIndex: 0}, table);
    wide.setAttribute('role', 'region');
    wide.setAttribute('aria-label', words.readings);
    by('plan-about').append(wide);
  }
}

by('plan-show').addEventListener('change', list);
by('plan-find').addEventListener('input', list);
by('plan-larger').addEventListener('change', drawRecord);
by('plan-remarks').append(...data.notes.map((text) => make('li', {textContent: text})));

// -- marking ---------------------------------------------------------------------------------------

const marking = by('plan-mark');
const kind = () => marking.querySelector('input[name=kind]:checked').value;
const isLooking = () => !marking || kind() === 'look';
const end = () => (kind() === 'end' ? marking.querySelector('input[name=end]:checked').value : '');
const named = () => by('plan-name').value.trim();
const called = (one) => (one.kind === 'end' ? say('end', {name: one.name, end: one.end.toUpperCase()}) : one.name);
const is = (one, what, name, side) => one.kind === what && one.name === name && one.end === side;
const isMarked = (what, name, side) => points.some((one) => is(one, what, name, side));
const isOwn = () => kind() === 'known' && named() && !data.choices.known.some((one) => one.name === named());

function offer() {
  by('plan-what').hidden = isLooking();
  // what is drawn already must not catch the clicks
  page.toggleAttribute('data-marking', !isLooking());
  if (isLooking()) return;
  by('plan-names').replaceChildren(...data.choices[kind()].map((one) => make('option', {value: one.name, label: one.says ? `${one.name}: ${one.says}` : one.name})));
  by('plan-ends').hidden = kind() !== 'end';
}

function pick(what, name, side = 'a') {
  marking.querySelector(`input[name=kind][value=${what}]`).checked = true;
  offer();
  by('plan-name').value = name;
  marking.querySelector(`input[name=end][value=${side}]`).checked = true;
  tell();
}

function next() {
  // the next one of the list that is not marked yet
  const all = data.choices[kind()].map((one) => one.name);
  const from = all.indexOf(named()) + 1;
  const isDone = (name) => (kind() === 'end' ? isMarked('end', name, 'a') && isMarked('end', name, 'b') : isMarked(kind(), name, ''));
  by('plan-name').value = [...all.slice(from), ...all.slice(0, from)].find((name) => !isDone(name)) ?? '';
  marking.querySelector('input[name=end][value=a]').checked = true;
}

function begin() {
  offer();
  by('plan-name').value = '';
  if (!isLooking()) next();
  tell();
}

function tell(said = '') {
  if (isLooking()) { by('plan-next').textContent = said || words.next_look; return; }
  by('plan-own').hidden = !isOwn();
  const key = kind() === 'end' ? `next_end_${end()}` : `next_${kind()}`;
  by('plan-next').textContent = [said, named() ? say(key, {name: named()}) : words.nothing].filter(Boolean).join(' ');
}

// x and y: pixels of the scan, or meters of the grid
function mark(x, y) {
  if (isLooking()) return;
  const one = {kind: kind(), name: named(), end: end(), pixel_x: x.toFixed(2), pixel_y: y.toFixed(2)};
  if (!one.name) { tell(); by('plan-name').focus(); return; }
  if (!scan) { fill(one, x, y); return; }
  if (x < 0 || y < 0 || x > scan.width || y > scan.height) { tell(words.outside); return; }
  if (isOwn()) {
    Object.assign(one, {x_m: by('plan-own-x').value.trim(), y_m: by('plan-own-y').value.trim(), uncertainty_m: by('plan-own-range').value.trim()});
    if (!one.x_m || !one.y_m) { tell(say('own', {name: one.name})); by('plan-own-x').focus(); return; }
  }
  const before = points.findIndex((other) => is(other, one.kind, one.name, one.end));
  if (before >= 0) points.splice(before, 1);
  points.push(one);
  if (one.end === 'a') marking.querySelector('input[name=end][value=b]').checked = true;
  else next();
  tell(say('marked', {name: called(one)}));
  changed();
}

function remove(one) {
  points.splice(points.indexOf(one), 1);
  tell(say('removed', {name: called(one)}));
  changed();
}

function drawMine() {
  mine.clearLayers();
  for (const one of points) {
    const label = one.kind === 'end' ? `${one.name} ${one.end.toUpperCase()}` : one.name;
    const marker = sign(`yours ${one.kind}`, label, say('yours', {name: called(one)}), ofPixel(one), {draggable: Boolean(marking), zIndexOffset: 1000});
    const moved = (where) => {
      Object.assign(one, {pixel_x: Math.min(Math.max(where.lng, 0), scan.width).toFixed(2), pixel_y: Math.min(Math.max(-where.lat, 0), scan.height).toFixed(2)});
      tell(say('moved', {name: called(one)}));
      changed(marker);
    };
    marker.on('dragend', () => moved(marker.getLatLng()));
    marker.addTo(mine);
    if (marking) marker.getElement().addEventListener('keydown', (event) => {
      const way = arrow(event, event.shiftKey ? STEP : 1);
      if (way) {
        const where = map.latLngToContainerPoint(ofPixel(one)).add(way);
        marker.setLatLng(map.containerPointToLatLng(where));
        moved(marker.getLatLng());
      } else if (event.key === 'Delete' || event.key === 'Backspace') {
        remove(one);
        by('plan-map').focus();
      } else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }
}

const arrow = (event, step) => ({ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step]})[event.key];

// -- the fit, which the server makes ---------------------------------------------------------------

const settings = () => ({points, scale: by('plan-scale').value, model: by('plan-model').value, pencil: by('plan-pencil').value, replace: by('plan-replace').checked});
let asked = 0;

function changed(moved = null) {
  // a mark that is moved by keys keeps the focus
  if (!moved) drawMine();
  window.clearTimeout(changed.soon);
  changed.soon = window.setTimeout(refit, 120);
}

async function refit() {
  const mineAsked = (asked += 1);
  let problem = '';
  let told = null;
  try {
    told = await ask(`${at}/plan-fit`, settings());
  } catch (error) {
    problem = error.message;
  }
  if (mineAsked !== asked) return;
  fit = told;
  takeNames();
  showFit(problem);
}

// a number may be typed as a label says it; the server knows what it names
function takeNames() {
  for (const [told, isKnown] of [[fit?.known ?? [], true], [fit?.traced ?? [], false]]) {
    const sent = points.filter((one) => (one.kind === 'known') === isKnown);
    if (sent.length === told.length && sent.some((one, number) => one.name !== told[number].name)) {
      sent.forEach((one, number) => { one.name = told[number].name; });
      drawMine();
    }
  }
}

function showFit(problem) {
  takeMatrix();
  by('plan-problem').hidden = !problem;
  by('plan-problem').textContent = problem;
  by('plan-fit').textContent = fit ? fit.said : `${words.no_fit}${toPixel ? '' : ` ${words.no_grid}`}`;
  by('plan-notes').replaceChildren(...(fit?.notes ?? []).map((text) => make('li', {textContent: text})));
  if (marking) by('plan-enter').disabled = !fit;
  by('plan-marked').replaceChildren(...[['known', words.known_points], ['', words.traced]].map(([what, heading]) => {
    const rows = points.filter((one) => (one.kind === 'known') === (what === 'known'));
    return rows.length ? make('section', {}, make('h3', {textContent: heading}), make('ul', {className: 'plan-list'}, ...rows.map(marked))) : '';
  }));
  drawRecord();
  drawSigns();
}

function marked(one) {
  const told = one.kind === 'known' ? fit?.known.find((other) => other.name === one.name) : fit?.traced.find((other) => is(other, one.kind, one.name, one.end));
  const show = make('button', {type: 'button', textContent: called(one)});
  show.addEventListener('click', () => map.panTo(ofPixel(one)));
  const buttons = [show];
  if (marking) {
    const out = make('button', {type: 'button', textContent: '×'});
    out.setAttribute('aria-label', say('remove', {name: called(one)}));
    out.addEventListener('click', () => { remove(one); by('plan-map').focus(); });
    buttons.push(out);
  }
  let said = '';
  if (told && one.kind === 'known') said = `${told.unfit ? `${words.unfit}: ` : ''}${say('off', told)}; ${told.times ? say('times', told) : words.unchecked}`;
  else if (told) said = say('where', told);
  return make('li', {className: told?.unfit || told?.doubt ? 'plan-unfit' : ''}, make('div', {className: 'plan-row'}, ...buttons), make('span', {textContent: said}));
}

by('plan-enter')?.addEventListener('click', async (event) => {
  event.target.disabled = true;
  try {
    await ask(`${at}/plan-enter`, settings());
  } catch (error) {
    event.target.disabled = false;
    showFit(error.message);
  }
});

// -- the form for readings -------------------------------------------------------------------------

function target(what, name, side) {
  const values = {element_id: what === 'end' ? name : '', element_end: what === 'end' ? side : '', sample_id: what === 'hole' ? name : '', target_datum_id: what === 'datum' ? name : ''};
  for (const [field, value] of Object.entries(values)) by(field).value = value;
}

function fill(one, x, y) {
  target(one.kind, one.name, one.end);
  by('1-kind').value = 'coordinate';
  showFields();
  // with its unit, because the form reads bare numbers in that of the record
  [by('1-x_m').value, by('1-y_m').value] = [x, y].map((value) => value.toFixed(3) + ' m');
  tell(say('filled', {name: called(one), x: x.toFixed(3), y: y.toFixed(3)}));
  by('1-sd_m').focus();
}

function showFields() {
  for (const row of by('plan-readings').children) {
    const number = row.dataset.row;
    const used = words.used[by(`${number}-kind`).value] ?? ['kind'];
    for (const input of row.querySelectorAll('input, select')) {
      const isUsed = used.includes(input.name.slice(number.length + 1));
      input.disabled = !isUsed;
      input.required = false;
      input.closest('.field').hidden = !isUsed;
    }
  }
}

if (by('plan-ties')) {
  showFields();
  by('plan-readings').addEventListener('change', showFields);
  by('plan-another').addEventListener('click', () => {
    const last = by('plan-readings').lastElementChild;
    const number = Number(last.dataset.row) + 1;
    const row = last.cloneNode(true);
    row.dataset.row = number;
    row.querySelector('legend').textContent = row.querySelector('legend').textContent.replace(/\d+$/, number);
    for (const node of row.querySelectorAll('[id], [name], [for], [aria-describedby]')) {
      for (const name of ['id', 'name', 'for', 'aria-describedby']) {
        if (node.hasAttribute(name)) node.setAttribute(name, node.getAttribute(name).replace(/^\d+-/, `${number}-`));
      }
      if (node.matches('input')) node.value = '';
    }
    by('plan-readings').append(row);
    by(`${number}-kind`).value = by(`${last.dataset.row}-kind`).value;
    showFields();
    by(`${number}-kind`).focus();
  });
}

// -- mouse and keys --------------------------------------------------------------------------------

map.on('moveend zoomend resize', () => { drawGrid(); drawSigns(); if (data.woods.length > MOST_SHAPES) drawRecord(); });
const box = by('plan-map');
box.addEventListener('keydown', (event) => {
  if (event.target !== box || event.ctrlKey || event.metaKey || event.altKey) return;
  const way = arrow(event, event.shiftKey ? 1 : STEP);
  if (way) map.panBy(way, {animate: false});
  else if (event.key === '+' || event.key === '=') map.zoomIn(0.5, {animate: false});
  else if (event.key === '-') map.zoomOut(0.5, {animate: false});
  else if (event.key === 'Enter' && marking) { const middle = map.getCenter(); mark(middle.lng, scan ? -middle.lat : middle.lat); }
  else return;
  event.preventDefault();
});

if (marking) {
  map.on('click', (event) => mark(event.latlng.lng, scan ? -event.latlng.lat : event.latlng.lat));
  map.on('move', () => {
    const middle = map.getCenter();
    if (document.activeElement === box) [by('plan-x').value, by('plan-y').value] = [middle.lng, scan ? -middle.lat : middle.lat].map((value) => value.toFixed(scan ? 1 : 3));
  });
  marking.addEventListener('submit', (event) => {
    event.preventDefault();
    const [x, y] = ['plan-x', 'plan-y'].map((id) => Number(by(id).value.replace(',', '.') || NaN));
    if (Number.isFinite(x) && Number.isFinite(y)) mark(x, y);
    else by(Number.isFinite(x) ? 'plan-y' : 'plan-x').focus();
  });
  for (const one of marking.querySelectorAll('input[name=kind]')) one.addEventListener('change', begin);
  for (const one of marking.querySelectorAll('input[name=end]')) one.addEventListener('change', () => tell());
  by('plan-name').addEventListener('input', () => tell());
  for (const id of ['plan-scale', 'plan-model', 'plan-pencil', 'plan-replace']) by(id)?.addEventListener('change', refit);
  if (scan && !toPixel) marking.querySelector('input[value=known]').checked = true;
  begin();
}

if (scan) {
  for (const name of marking ? ['scale', 'model', 'pencil'] : []) if (data.before[name]) by(`plan-${name}`).value = data.before[name];
  if (marking) by('plan-replace').checked = data.before.replace === true;
  drawMine();
  showFit(data.problem ?? '');
  if (data.is_kept && marking) tell(words.kept);
}
drawGrid();
drawRecord();
drawSigns();
list();
const show = new URLSearchParams(window.location.search).get('show');
if (show) choose(byKey.has(show) ? show : `wood:${show.split(':')[1]}`);
page.dataset.ready = '';
