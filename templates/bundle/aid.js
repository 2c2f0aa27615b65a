/* Search of the finding aid. Plain script, no libraries: it reads the data that search-data.js hands
   to aid.take(), and shows what it finds as text. Without it every record can still be reached. */
"use strict";

const aid = {
  data: null,
  take(data) {
    aid.data = data;
    if (document.readyState === "loading") {
      document.addEventListener("DOMContentLoaded", aid.begin);
    } else {
      aid.begin();
    }
  },
  begin() {
    const page = document.body.dataset.page;
    if (page === "index") startSearch();
    if (page === "go") followLabel();
  },
};

/* -- worn stamps ---------------------------------------------------------------------------------
   The same sums as 'treenail locate': identity/reading.py weighs a reading against a stamp,
   plug_fit.py place, wood, dowel and state. All numbers come with the data. */

/* Every way to read a text as {places, gaps, dot}; null for a text that is no reading. */
function parseReading(text) {
  let count = 0;
  const ways = text.trim().split(/\s+or\s+/i).map((written) => {
    const rest = written.replace(/…/g, "..").replace(/_/g, "?").replace(/[\s\-‐‑‒–—−]+/g, "");
    const tokens = rest.match(/\[[0-9A-Za-z/,|]+\]|\.\.+|[0-9A-Za-z?]|\./g) || [];
    const places = [];
    const gaps = new Set();
    for (const token of tokens) {
      if (token.startsWith("..")) gaps.add(places.length);
      else if (token !== ".") places.push([...new Set(token.replace(/[[\]/,|]/g, ""))]);
    }
    count += places.length;
    if (tokens.join("") !== rest || !places.length || places.some((one) => !one.length)) return null;
    const [begin, end] = [tokens[0] === ".", tokens[tokens.length - 1] === "."];
    return { places, gaps, dot: begin === end ? "" : end ? "end" : "begin" };
  });
  return ways.includes(null) || count > 40 ? null : ways;
}

/* For each level of wear and each way up, the share of every struck character read as each place. */
function prepareWay(way, wear) {
  const columns = way.places.map((place) => place.map((one) => wear.read.indexOf(one)));
  const sum = (row, of) => of.reduce((all, column) => all + row[column], 0);
  const read = (table) => columns.map((of) => Object.fromEntries(
    Object.entries(table).map(([struck, row]) => [struck, sum(row, of)]),
  ));
  way.nicks = columns.map((of) => wear.rates.nick * sum(wear.nothing, of));
  way.levels = wear.levels.map(([plugs, upright, turned]) => [plugs, read(upright), read(turned)]);
}

function withNick(state, way, rates) {
  const after = state.map((value) => value * (1 - rates.nick));
  way.nicks.forEach((nick, at) => {
    after[at + 1] += state[at] * nick;
  });
  return after;
}

/* How likely one way of reading is for what was struck, summed over all alignments. */
function aligned(struck, way, shares, rates) {
  const read = way.places.length;
  let state = withNick([1, ...new Array(read).fill(0)], way, rates);
  let before = state;
  for (let at = 0; at < struck.length; at += 1) {
    const atEdge = at === 0 || at === struck.length - 1;
    const missed = atEdge ? rates.overlooked_at_edge : rates.overlooked_inside;
    const both = (1 - missed) ** 2 * rates.exchanged;
    const after = new Array(read + 1).fill(0);
    for (let taken = 0; taken <= read; taken += 1) {
      const lost = way.gaps.has(taken) ? rates.overlooked_where_broken : missed;
      after[taken] += state[taken] * lost;
      if (taken < read) {
        after[taken + 1] += state[taken] * (1 - lost) * (1 - rates.exchanged) * shares[taken][struck[at]];
      }
      if (taken > 1 && at) {
        after[taken] += before[taken - 2] * both * shares[taken - 2][struck[at]] * shares[taken - 1][struck[at - 1]];
      }
    }
    before = state;
    state = withNick(after, way, rates);
  }
  return state[read];
}

function likelihood(stamp, marked, ways, upright, rates) {
  if (!stamp) return 0;
  const struck = [...stamp];
  const turned = [...struck].reverse();
  let total = 0;
  for (const way of ways) {
    let over = upright ? 0 : 0.5;
    let [plainShare, overShare] = [1, 1];
    if (way.dot) {
      const seen = marked ? rates.dot_typed : rates.dot_imagined;
      const atEnd = marked ? 1 - rates.dot_misplaced : 0.5;
      const fits = way.dot === "end" ? atEnd : 1 - atEnd;
      [plainShare, overShare] = [seen * fits, seen * (1 - fits)];
    } else {
      plainShare = overShare = 1 - (marked ? rates.dot_typed : rates.dot_imagined);
      if (!upright) over = marked ? rates.mark_overlooked : rates.upside_down;
    }
    for (const [level, plainly, turnedOver] of way.levels) {
      total += level * plainShare * (1 - over) * aligned(struck, way, plainly, rates);
      if (over) total += level * overShare * over * aligned(turned, way, turnedOver, rates);
    }
  }
  return ways.length ? total / ways.length : 0;
}

function contextFit(plug, seen, data) {
  const { place: places, wood: woods, dowel: dowels } = data.wear.fits;
  const [, , , , dowel, , species, , place] = plug;
  let fit = 1;
  if (seen.place) {
    if (place < 0) fit *= places.unknown;
    else fit *= data.places[place][seen.byKind ? 3 : 2].includes(seen.place) ? places.inside : places.outside;
  }
  if (seen.dowel !== null) {
    if (dowel === null) fit *= dowels.unknown;
    else {
      const off = (dowel - seen.dowel) / dowels.spread_mm;
      fit *= Math.max(Math.exp((-off * off) / 2), dowels.floor);
    }
  }
  if (seen.species) {
    const genus = (code) => (data.species.find((one) => one[0] === code) || ["", "", null])[2];
    if (species < 0) fit *= woods.unknown;
    else if (data.species[species][0] === seen.species) fit *= woods.same;
    else {
      const wanted = genus(seen.species);
      fit *= wanted !== null && data.species[species][2] === wanted ? woods.genus : woods.other;
    }
  }
  return fit;
}

/* The stamps that it would be, had two neighbors been exchanged in writing it down. */
function exchangedOf(ways) {
  const found = new Set();
  for (const way of ways) {
    const signs = way.places.map((place) => (place.length === 1 && place[0] !== "?" ? place[0].toUpperCase() : ""));
    if (way.gaps.size || signs.includes("")) continue;
    for (let at = 1; at < signs.length; at += 1) {
      if (signs[at] !== signs[at - 1]) found.add([...signs.slice(0, at - 1), signs[at], signs[at - 1], ...signs.slice(at + 1)].join(""));
    }
  }
  return [...found];
}

/* What was typed as a place: {place, byKind}, or {says} where the record has no such place. */
function placeMeant(data, typed) {
  const place = typed.trim().toLowerCase();
  if (!place || data.places.some((one) => one[2].includes(place))) return { place };
  if (data.places.some((one) => one[3].includes(place))) return { place, byKind: true };
  const pairs = (text) => new Set([...text].slice(1).map((sign, at) => text[at] + sign));
  const like = (name) => {
    const [one, other] = [pairs(name), pairs(place)];
    return (2 * [...one].filter((pair) => other.has(pair)).length) / (one.size + other.size || 1);
  };
  const names = [...new Set(data.places.flatMap((one) => one[2]))].sort((a, b) => like(b) - like(a));
  const near = names.length ? `the nearest are ${names.slice(0, 3).join(", ")}` : "no place is recorded";
  return { place: "", says: `This record has no place '${typed.trim()}', so it is left out; ${near}.` };
}

/* {candidates: [[probability, plug]], unrecorded, exchanged, says}; null for what is no reading. */
function rankPlugs(data, reading, given) {
  // a stamp as found is no work of the usual dies: it is compared as it is written
  const plain = (text) => text.normalize("NFC").replace(/[\s._/‐‑‒–—−-]/g, "").toLowerCase();
  const isOdd = (stamp) => stamp && !/^[0-9A-Z]{1,8}$/.test(stamp);
  const exact = data.plugs.some((plug) => plug[2] === reading.trim());
  const same = (stamp) => isOdd(stamp) && (exact ? stamp === reading.trim() : plain(stamp) === plain(reading));
  const ways = parseReading(reading) || (data.plugs.some((plug) => same(plug[2])) ? [] : null);
  if (!ways) return null;
  const wear = data.wear;
  for (const way of ways) prepareWay(way, wear);
  const seen = { ...given, ...placeMeant(data, given.place) };
  const known = new Map();
  const chance = (stamp, marked) => {
    const name = stamp + (marked ? "+" : "-");
    if (!known.has(name)) known.set(name, likelihood(stamp, marked, ways, seen.upright, wear.rates));
    return known.get(name);
  };
  const fit = (stamp, marked) => (isOdd(stamp) ? Number(same(stamp)) : chance(stamp, marked));
  const states = data.plugs.reduce((sum, plug) => sum + plug[5], 0) || 1;
  const weighed = data.plugs.map((plug) => [
    (((1 - wear.unrecorded) * plug[5]) / states) * contextFit(plug, seen, data) * fit(plug[2], plug[3]),
    plug,
  ]);
  let strange = 0;
  for (const [pattern, share] of Object.entries(wear.strangers)) strange += share * chance(pattern, 0);
  const told = [seen.place, seen.dowel !== null, seen.species].filter(Boolean).length;
  const stranger = wear.unrecorded * strange * wear.fits.given ** told;
  const total = weighed.reduce((sum, one) => sum + one[0], 0) + stranger;
  const candidates = weighed.filter((one) => one[0] > 0).sort((a, b) => b[0] - a[0]);
  return {
    candidates: candidates.map((one) => [one[0] / total, one[1]]),
    unrecorded: total ? stranger / total : 1,
    exchanged: exchangedOf(ways).filter((stamp) => data.plugs.some((plug) => plug[2] === stamp)),
    says: seen.says || "",
  };
}

/* -- what labels say ----------------------------------------------------------------------------
   A sample by its number and check letters, by the text of its label, or by its scanned code, as
   identity/naming.py reads them. Labels of before have one character, ISO/IEC 7064, MOD 37,36. */

const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
/* Numbers as found stand as codes say them: % and hexadecimal digits for what would mislead. */
const decoded = (coded) => {
  try {
    return decodeURIComponent(coded);
  } catch {
    return coded;
  }
};
const numberOf = (identifier) => decoded(identifier.slice(identifier.indexOf("-") + 1));
const DASHES = /[-‐‑‒–—−\s]+/;
const keyOf = (text) => text.toUpperCase().split(DASHES).filter(Boolean).join("-");

const CHECK_LETTERS = "ACDEFHJKLMNPRTUVWXY";
const isCheck = (text) => /^[0-9A-Z]$|^(?!\d\d)[0-9A-Z]{2}$/.test(text);

/* What fits in the place of the check that was written: one character, or else two letters. */
function checkLike(identifier, written) {
  const bytes = (sign) => [...new TextEncoder().encode(sign)].map((one) => one.toString(16).toUpperCase().padStart(2, "0")).join("");
  const capital = decoded(identifier).normalize("NFC").replace(/[a-z]/g, (sign) => sign.toUpperCase());
  const kept = capital.replace(/[ ._/-]/g, "") || capital;
  const values = [...kept.replace(/[^0-9A-Z]/gu, bytes)].map((sign) => SIGNS.indexOf(sign));
  if (written.length !== 1) {
    const state = values.reduce((sum, value) => (37 * sum + value + 1) % 359, 0);
    return CHECK_LETTERS[Math.floor(state / 19)] + CHECK_LETTERS[state % 19];
  }
  const doubled = (sum) => ((sum || 36) * 2) % 37;
  return SIGNS[(37 - doubled(values.reduce((sum, value) => (doubled(sum) + value) % 36, 18))) % 36];
}

/* Whether one wrong character, or two that changed places, make the one of the other. */
function oneSlipAway(one, other) {
  const wrong = [...one].flatMap((sign, at) => (sign === other[at] ? [] : [at]));
  const [first, second] = wrong;
  const swapped = wrong.length === 2 && second === first + 1 && one[first] === other[second] && one[second] === other[first];
  return one.length === other.length && (wrong.length === 1 || swapped);
}

/* {samples: their full identifiers}, with {says} where the check does not fit and they are what was
   likely meant ({unsure} when the text may be something else); null for other texts. */
function readLabel(samples, text) {
  const store = /^\s*treenail\s+0*2\s+(\S+)/i.exec(text);
  if (store) return { samples: [], says: `${decoded(store[1])} is a number that a store gave: ask the store, or use the number beside it.` };
  const before = /^\s*treenail\s+\d+\s+(\S+)\s+([0-9a-z])(?=\s|site|$)/i.exec(text);
  const scan = before || /^\s*treenail\s+([^\s:]+-[^\s:]+)\s*(?:see\s+\S+\s*)?$/i.exec(text);
  const said = before ? `${before[1]}-${before[2]}` : scan ? decoded(scan[1]) : text.trim();
  const key = keyOf(said);
  const parts = key.split("-");
  const all = Object.keys(samples);
  const named = (wanted) => all.filter((one) => keyOf(decoded(one)) === wanted || keyOf(numberOf(one)) === wanted);
  const ofSite = parts.length > 1 && all.some((one) => keyOf(decoded(one)).startsWith(`${parts[0]}-`));
  const hyphen = scan || /[-‐‑‒–—−]/.test(said);
  if (named(key).length) return ofSite ? { samples: named(key) } : null;

  const last = parts.length ? parts[parts.length - 1] : "";
  // a digit right behind a number, or behind a blank, is read as part of it
  const apart = parts.length > 1 && isCheck(last) && (hyphen || ofSite || !/\d/.test(last));
  const ways = apart ? [[parts.slice(0, -1).join("-"), last]] : [];
  if (!ways.some(([base]) => named(base).length)) {
    for (const length of [1, 2]) {
      const check = key.slice(-length);
      if (/^[A-Z]+$/.test(check) && named(key.slice(0, -length)).length) ways.push([key.slice(0, -length), check]);
    }
  }
  if (!ways.length) return null;
  const fitting = ways.flatMap(([base, check]) => named(base).filter((one) => checkLike(one, check) === check));
  if (fitting.length) return { samples: fitting };
  const unsure = !hyphen && !ofSite;
  if (unsure && apart) return null;
  const [base, check] = ways[0];
  const known = named(base);
  if (!known.length && !(apart && parts.length === 3)) return null;
  const wrong = decoded(known[0] || base);
  const likely = all.filter((one) => oneSlipAway(one, wrong) && checkLike(one, check) === check);
  const needed = checkLike(wrong, check);
  const first = needed === check
    ? `${wrong} is not in this record.`
    : `The check ${check.length === 1 ? "character does" : "letters do"} not fit: that of ${wrong} is ${needed}, not ${check}. Compare it with the label.`;
  const meant = likely.map((one) => `${decoded(one)}-${check}`).join(" or ");
  return { samples: [...known, ...likely], says: meant ? `${first} Perhaps ${meant} is meant.` : first, unsure };
}

/* -- words ------------------------------------------------------------------------------------- */

const plain = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();

function prepareRows(data) {
  return data.rows.map((row) => {
    const [table, key, words, place, species, use] = row;
    const name = species < 0 ? "" : data.species[species].join(" ");
    const kinds = data.tables[table][0] === "place" && place >= 0 ? data.places[place][3].join(" ") : "";
    const parts = [data.tables[table][1], key, words, place < 0 ? "" : data.places[place][0], kinds];
    return { row, key: plain(key), text: plain([...parts, name, use < 0 ? "" : data.uses[use]].join(" ")) };
  });
}

/* Rows in which every word stands; those whose number is the first word come first. */
function searchRows(prepared, data, wanted) {
  const words = plain(wanted.words).split(/\s+/).filter(Boolean);
  const found = [];
  for (const one of prepared) {
    const [table, , , place, species, use, first, last] = one.row;
    if (wanted.kind !== "" && table !== Number(wanted.kind)) continue;
    if (wanted.building !== "" && (place < 0 || data.places[place][1] !== Number(wanted.building))) continue;
    if (wanted.species !== "" && species !== Number(wanted.species)) continue;
    if (wanted.use !== "" && use !== Number(wanted.use)) continue;
    if (wanted.from !== null && (last === null || last < wanted.from)) continue;
    if (wanted.until !== null && (first === null || first > wanted.until)) continue;
    if (!words.every((word) => one.text.includes(word))) continue;
    const rank = !words.length ? 0 : one.key === words[0] ? 3 : one.key.startsWith(words[0]) ? 2 : one.key.includes(words[0]) ? 1 : 0;
    found.push([rank, one.row]);
  }
  return found.sort((a, b) => b[0] - a[0]).map((one) => one[1]);
}

const addressOf = (data, row) => row[8] || `pages/${data.tables[row[0]][0]}/${row[1]}.html`;

/* -- the page ---------------------------------------------------------------------------------- */

const byId = (id) => document.getElementById(id);

function shownLink(address, text) {
  const link = document.createElement("a");
  link.setAttribute("href", address);
  link.textContent = text;
  return link;
}

function shownRow(data, row) {
  const [table, key, words, place, species, use] = row;
  const item = document.createElement("li");
  item.append(shownLink(addressOf(data, row), `${data.tables[table][1]} ${key}`));
  const said = [use < 0 ? "" : data.uses[use], words, species < 0 ? "" : data.species[species][1]];
  if (place >= 0 && data.tables[table][0] !== "place") said.push(data.places[place][0]);
  item.append(document.createElement("br"), said.filter(Boolean).join("; "));
  return item;
}

function shownPlug(data, share, plug) {
  const [sample, key, stamp, , dowel, , species, use, place, day, state, address] = plug;
  const item = document.createElement("li");
  const percent = document.createElement("span");
  percent.className = "share";
  percent.textContent = share < 0.01 ? "< 1 %" : `${Math.round(share * 100)} %`;
  const name = sample ? `Stamp ${stamp}: sample ${sample}, plug ${key}` : `Reserved number ${stamp}`;
  item.append(percent, address ? shownLink(address, name) : name, document.createElement("br"));
  const said = [use < 0 ? "" : data.uses[use], place < 0 ? "" : data.places[place][0]];
  said.push(species < 0 ? "" : data.species[species][1], dowel === null ? "" : `dowel ${data.dowels[dowel]}`);
  item.append([...said, day, state].filter(Boolean).join("; "));
  return item;
}

/* A size such as 5/8, 1 3/8 in, 0.625 or 16 mm; null for what is no size. */
function dowelMm(text, inInches) {
  const read = /^\s*(\d+(?:[.,]\d+)?(?!\d*\/))?\s*(?:(\d+)\/([1-9]\d*))?\s*(mm|in|["”])?\s*$/i.exec(text);
  if (!read || !(read[1] || read[2])) return null;
  const size = Number((read[1] || "0").replace(",", ".")) + Number(read[2] || 0) / Number(read[3] || 1);
  const mm = read[4] ? read[4].toLowerCase() === "mm" : !inInches;
  return mm ? size : size * 25.4;
}

function fill(select, options) {
  for (const [value, text] of options) {
    const option = document.createElement("option");
    option.value = value;
    option.textContent = text;
    select.append(option);
  }
}

function startSearch() {
  const data = aid.data;
  const step = 50;
  let prepared = null;
  let items = [];
  let shown = 0;
  const byName = (a, b) => a[1].localeCompare(b[1]);
  const numbered = (list, name) => list.map((one, at) => [at, name(one)]).sort(byName);
  fill(byId("kind"), data.tables.map((one, at) => [at, one[1]]));
  fill(byId("building"), numbered(data.buildings, (one) => one[1]));
  fill(byId("species"), numbered(data.species, (one) => one[1]));
  fill(byId("use"), numbered(data.uses, (one) => one));
  fill(byId("places"), [...new Set(data.places.flatMap((one) => one[2]))].sort().map((one) => [one, ""]));
  const called = ([code, label, , names]) => [code, names ? `${label} (${names.split("; ")[0]})` : label];
  fill(byId("wood"), data.species.map(called).sort(byName));

  const showMore = () => {
    byId("found").append(...items.slice(shown, shown + step).map((make) => make()));
    shown = Math.min(shown + step, items.length);
    byId("more").hidden = shown === items.length;
  };
  const show = (words, makers) => {
    byId("found").replaceChildren();
    items = makers;
    shown = 0;
    byId("count").textContent = words;
    showMore();
  };
  const whole = (id) => (/^-?\d+$/.test(byId(id).value.trim()) ? Number(byId(id).value) : null);

  const search = () => {
    const wanted = { words: byId("q").value, from: whole("from"), until: whole("until") };
    for (const id of ["kind", "building", "species", "use"]) wanted[id] = byId(id).value;
    if (Object.values(wanted).every((one) => one === null || String(one).trim() === "")) return show("", []);
    prepared = prepared || prepareRows(data);
    const label = readLabel(data.samples, wanted.words);
    if (label) {
      const addresses = label.samples.map((one) => data.samples[one]);
      const rows = data.rows.filter((row) => addresses.includes(addressOf(data, row)));
      const other = label.unsure && searchRows(prepared, data, wanted).length;
      if (label.says && !other) return show(label.says, rows.map((row) => () => shownRow(data, row)));
      if (!label.says && rows.length) wanted.words = rows[0][1];
    }
    const rows = searchRows(prepared, data, wanted);
    const count = rows.length === 1 ? "1 record" : `${rows.length} records`;
    return show(rows.length ? `${count} found` : "Nothing found", rows.map((row) => () => shownRow(data, row)));
  };
  const locate = () => {
    const reading = byId("reading").value;
    if (!reading.trim()) return show("", []);
    const label = data.plugs.some((plug) => plug[2] === reading.trim().toUpperCase())
      ? null
      : readLabel(data.samples, reading);
    if (label && !label.unsure) {
      if (label.says) return show(label.says, []);
      const pages = label.samples.map((one) => data.samples[one]);
      const own = data.plugs.filter((plug) => pages.includes(plug[11].split("#")[0]));
      const all = own.reduce((sum, plug) => sum + plug[5], 0);
      const words = `${own.length || "No"} recorded plug${own.length === 1 ? "" : "s"} of sample ${label.samples.map(decoded).join(", ")}`;
      own.sort((a, b) => b[5] - a[5]);
      return show(words, own.map((plug) => () => shownPlug(data, plug[5] / all, plug)));
    }
    const ranked = rankPlugs(data, reading, {
      place: byId("place").value,
      species: byId("wood").value,
      dowel: dowelMm(byId("dowel").value, data.inches),
      upright: byId("upright").checked,
    });
    if (!ranked) return show("This is not a reading; write it as in the examples.", []);
    const none = Math.round(ranked.unrecorded * 100);
    const reserved = data.plugs.filter((plug) => !plug[1]).length;
    const beside = reserved ? ` and ${reserved} reserved numbers` : "";
    const words = [`${data.plugs.length - reserved} plugs${beside} compared, the likeliest first; ${none} % that it is none of them.`];
    if (ranked.exchanged.length) words.push(`Or digits exchanged: ${ranked.exchanged.join(", ")}.`);
    return show([ranked.says, ...words].filter(Boolean).join(" "), ranked.candidates.map(([share, plug]) => () => shownPlug(data, share, plug)));
  };

  let waiting = 0;
  const soon = (act) => () => {
    clearTimeout(waiting);
    waiting = setTimeout(act, 60);
  };
  byId("more").addEventListener("click", () => {
    const next = shown;
    showMore();
    const link = byId("found").children[next].querySelector("a");
    if (link) link.focus();
  });
  for (const [id, act] of [["words", search], ["plug", locate]]) {
    byId(id).addEventListener("input", soon(act));
    byId(id).addEventListener("submit", (event) => {
      event.preventDefault();
      act();
    });
  }
  byId("search").hidden = false;
  const asked = new URLSearchParams(location.search).get("q");
  if (asked) {
    byId("q").value = asked;
    search();
  } else if (location.hash === "#search") {
    byId("search").scrollIntoView();
    byId("q").focus();
  }
}

/* A label says SITE-231, perhaps with check letters behind it, SITE-231-JV, which must fit. */
function followLabel() {
  const given = new URLSearchParams(location.search).get("id") || decodeFragment();
  const number = given.trim().toUpperCase();
  if (!number) return;
  const samples = aid.data.samples;
  let label = Object.hasOwn(samples, number) ? { samples: [number] } : readLabel(samples, number);
  // a public edition may call its one site by a stand-in, which no label bears: then the number counts
  const sites = new Set(Object.keys(samples).map((one) => one.slice(0, one.indexOf("-"))));
  if (!(label && label.samples.length) && sites.size === 1 && /^[B-DF-HJ-NP-RTV-X]{5}$/.test([...sites][0])) {
    const bare = `${[...sites][0]}-${numberOf(number).split("-")[0]}`;
    label = Object.hasOwn(samples, bare) ? { samples: [bare] } : null;
  }
  if (label && !label.says) location.replace(samples[label.samples[0]]);
  else {
    byId("count").textContent = (label && label.says) || `No sample with the number ${given} is in this record.`;
  }
}

function decodeFragment() {
  return decoded(location.hash.slice(1));
}
