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
   locate.py weighs place, wood, dowel and state. All numbers come with the data. */

function parseReading(text) {
  return text.trim().split(/\s+or\s+/i).map((written) => {
    const rest = written.trim().toUpperCase().replace(/…/g, "..").replace(/_/g, "?");
    const before = rest.startsWith("..");
    const behind = rest.endsWith("..") && rest.length > 2;
    const body = rest.replace(/^\.+|\.+$/g, "").replace(/ /g, "");
    const places = [];
    const one = /\[([0-9A-Z/,| ]+)\]|([0-9A-Z?])/y;
    while (one.lastIndex < body.length) {
      const match = one.exec(body);
      if (!match) return null;
      if (match[1] !== undefined) places.push([...new Set(match[1].replace(/[/,| ]/g, ""))]);
      else places.push(match[2] === "?" ? null : [match[2]]);
    }
    return places.length ? { places, before, behind } : null;
  });
}

function withNick(state, way, wear) {
  const nick = wear.nick_taken_for_digit;
  const after = state.map((value) => value * (1 - nick));
  way.places.forEach((place, taken) => {
    after[taken + 1] += state[taken] * nick * ((place === null ? 1 : place.length) / 11);
  });
  return after;
}

/* How likely one way of reading is for what was struck, summed over all alignments. */
function aligned(struck, way, shares, wear) {
  const read = way.places.length;
  let state = new Array(read + 1).fill(0);
  state[0] = 1;
  state = withNick(state, way, wear);
  for (let at = 0; at < struck.length; at += 1) {
    const atEdge = at === 0 || at === struck.length - 1;
    const missed = atEdge ? wear.overlooked_at_edge : wear.overlooked_inside;
    const after = new Array(read + 1).fill(0);
    for (let taken = 0; taken <= read; taken += 1) {
      const broken = (taken === 0 && way.before) || (taken === read && way.behind);
      after[taken] += state[taken] * (broken ? wear.overlooked_where_broken : missed);
      if (taken < read) {
        let share = 0;
        for (const seen of way.places[taken] || ["?"]) {
          const column = wear.characters.indexOf(seen);
          if (column >= 0) share += shares[struck[at]][column];
        }
        after[taken + 1] += state[taken] * (1 - missed) * share;
      }
    }
    state = withNick(after, way, wear);
  }
  return state[read];
}

function likelihood(stamp, marked, ways, upright, wear) {
  if (!stamp) return 0;
  const struck = [...stamp];
  const turned = upright ? 0 : marked ? wear.mark_overlooked : wear.seen_upside_down;
  let total = 0;
  for (const way of ways) {
    const plain = aligned(struck, way, wear.upright, wear);
    const over = aligned([...struck].reverse(), way, wear.turned, wear);
    total += (1 - turned) * plain + turned * over;
  }
  return total / ways.length;
}

function contextFit(plug, seen, data) {
  const wear = data.wear;
  const [, , , , dowel, , species, , place] = plug;
  let fit = 1;
  if (seen.place) {
    const names = place < 0 ? [] : data.places[place][2];
    if (!names.length) fit *= wear.place_unknown;
    else fit *= names.includes(seen.place.trim().toLowerCase()) ? wear.place_in : wear.place_out;
  }
  if (seen.dowel !== null) {
    if (dowel === null) fit *= wear.dowel_unknown;
    else {
      const off = (dowel - seen.dowel) / wear.dowel_spread_mm;
      fit *= Math.max(Math.exp((-off * off) / 2), wear.dowel_floor);
    }
  }
  if (seen.species) {
    const genus = (code) => (data.species.find((one) => one[0] === code) || ["", "", null])[2];
    if (species < 0) fit *= wear.wood_unknown;
    else if (data.species[species][0] === seen.species) fit *= wear.wood_same;
    else {
      const wanted = genus(seen.species);
      fit *= wanted !== null && data.species[species][2] === wanted ? wear.wood_genus : wear.wood_other;
    }
  }
  return fit;
}

/* {candidates: [[probability, plug]], unrecorded}, or null for a reading that is none. */
function rankPlugs(data, reading, seen) {
  const ways = parseReading(reading);
  if (ways.some((way) => way === null)) return null;
  const wear = data.wear;
  const known = new Map();
  const chance = (stamp, marked) => {
    const name = stamp + (marked ? "+" : "-");
    if (!known.has(name)) known.set(name, likelihood(stamp, marked, ways, seen.upright, wear));
    return known.get(name);
  };
  const states = data.plugs.reduce((sum, plug) => sum + plug[5], 0) || 1;
  const weighed = data.plugs.map((plug) => [
    (((1 - wear.unrecorded) * plug[5]) / states) * contextFit(plug, seen, data) * chance(plug[2], plug[3]),
    plug,
  ]);
  let strange = 0;
  for (let number = 1; number < 1000; number += 1) {
    strange += likelihood(String(number), false, ways, seen.upright, wear) / 999;
  }
  const given = [seen.place, seen.dowel !== null, seen.species].filter(Boolean).length;
  const stranger = wear.unrecorded * strange * wear.dowel_unknown ** given;
  const total = weighed.reduce((sum, one) => sum + one[0], 0) + stranger;
  if (!(total > 0)) return { candidates: [], unrecorded: 1 };
  const candidates = weighed.filter((one) => one[0] > 0).sort((a, b) => b[0] - a[0]);
  return {
    candidates: candidates.map((one) => [one[0] / total, one[1]]),
    unrecorded: stranger / total,
  };
}

/* -- what labels say ----------------------------------------------------------------------------
   A sample by its number and check letters, by the text of its label, or by its scanned code, as
   identity/naming.py reads them. Labels of before have one character, ISO/IEC 7064, MOD 37,36. */

const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const numberOf = (identifier) => identifier.slice(identifier.indexOf("-") + 1);

const CHECK_LETTERS = "ACDEFHJKLMNPRTUVWXY";
const isCheck = (text) => /^[0-9A-Z]$|^(?!\d\d)[0-9A-Z]{2}$/.test(text);

/* What fits in the place of the check that was written: one character, or else two letters. */
function checkLike(identifier, written) {
  const values = [...identifier].filter((sign) => SIGNS.includes(sign)).map((sign) => SIGNS.indexOf(sign));
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
  const before = /^\s*treenail\s+\d+\s+(\S+)\s+([0-9a-z])(?=\s|site|$)/i.exec(text);
  const scan = before || /^\s*treenail\s+([^\s:]+-[^\s:]+)\s*(?:see\s+\S+\s*)?$/i.exec(text);
  const said = before ? `${before[1]}-${before[2]}` : scan ? scan[1] : text.trim();
  const parts = said.toUpperCase().split(/[-‐‑‒–—−\s]+/).filter(Boolean);
  const key = parts.join("-");
  const all = Object.keys(samples);
  const named = (wanted) => all.filter((one) => one === wanted || numberOf(one) === wanted);
  const ofSite = parts.length > 1 && all.some((one) => one.startsWith(`${parts[0]}-`));
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
  const wrong = known[0] || base;
  const likely = all.filter((one) => oneSlipAway(one, wrong) && checkLike(one, check) === check);
  const needed = checkLike(wrong, check);
  const first = needed === check
    ? `${wrong} is not in this record.`
    : `The check ${check.length === 1 ? "character does" : "letters do"} not fit: that of ${wrong} is ${needed}, not ${check}. Compare it with the label.`;
  const meant = likely.map((one) => `${one}-${check}`).join(" or ");
  return { samples: [...known, ...likely], says: meant ? `${first} Perhaps ${meant} is meant.` : first, unsure };
}

/* -- words ------------------------------------------------------------------------------------- */

const plain = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();

function prepareRows(data) {
  return data.rows.map((row) => {
    const [table, key, words, place, species, use] = row;
    const name = species < 0 ? "" : `${data.species[species][1]} ${data.species[species][0]}`;
    const parts = [data.tables[table][1], key, words, place < 0 ? "" : data.places[place][0]];
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
  const name = `Stamp ${stamp}: sample ${sample}, plug ${key}`;
  item.append(percent, address ? shownLink(address, name) : name, document.createElement("br"));
  const said = [use < 0 ? "" : data.uses[use], place < 0 ? "" : data.places[place][0]];
  said.push(species < 0 ? "" : data.species[species][1], dowel === null ? "" : `dowel ${dowel} mm`);
  item.append([...said, day, state].filter(Boolean).join("; "));
  return item;
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
  fill(byId("place"), data.buildings.map((one) => [one[0], one[1]]).sort(byName));
  fill(byId("wood"), data.species.map((one) => [one[0], one[1]]).sort(byName));

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
      const numbers = label.samples.map(numberOf);
      const own = data.plugs.filter((plug) => numbers.includes(plug[0].toUpperCase()));
      const all = own.reduce((sum, plug) => sum + plug[5], 0);
      const words = `${own.length || "No"} recorded plug${own.length === 1 ? "" : "s"} of sample ${label.samples.join(", ")}`;
      own.sort((a, b) => b[5] - a[5]);
      return show(words, own.map((plug) => () => shownPlug(data, plug[5] / all, plug)));
    }
    const dowel = Number.parseFloat(byId("dowel").value.replace(",", "."));
    const ranked = rankPlugs(data, reading, {
      place: byId("place").value,
      species: byId("wood").value,
      dowel: Number.isFinite(dowel) ? dowel : null,
      upright: byId("upright").checked,
    });
    if (!ranked) return show("This is not a reading; write it as in the examples.", []);
    const none = Math.round(ranked.unrecorded * 100);
    const words = `${data.plugs.length} plugs compared, the likeliest first; ${none} % that it is none of them`;
    return show(words, ranked.candidates.map(([share, plug]) => () => shownPlug(data, share, plug)));
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
  try {
    return decodeURIComponent(location.hash.slice(1));
  } catch {
    return location.hash.slice(1);
  }
}
