"use strict";
/* The live page: choices and sliders in, one question at a time, the newest wins. */

const state = { start: null, sides: [], busy: false, waiting: false };
const byId = (id) => document.getElementById(id);

async function ask(path, body) {
  const options = body === undefined ? {} : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const response = await fetch(path, options);
  const found = await response.json();
  if (!response.ok) throw new Error(found.error || "no answer");
  return found;
}

function option(value, text) {
  const element = document.createElement("option");
  element.value = value;
  element.textContent = text;
  return element;
}

function fill(select, pairs, chosen) {
  select.replaceChildren(...pairs.map(([value, text]) => option(value, text)));
  if (chosen !== undefined) select.value = chosen;
}

class Side {
  constructor(letter, gel, lamp) {
    this.letter = letter;
    this.node = byId("side").content.firstElementChild.cloneNode(true);
    this.form = this.node.querySelector("form");
    this.gelText = "";
    this.loadings = {};
    this.values = {};
    this.node.setAttribute("aria-label", `Side ${letter}`);
    const fields = this.form.elements;
    fill(fields.gel, Object.entries(state.start.gels).map(([key, each]) => [key, each.name]), gel);
    fill(fields.lamp, Object.entries(state.start.lamps).map(([key, each]) => [key, each.name]), lamp);
    fields.gel.addEventListener("change", () => this.takeGel(state.start.gels[fields.gel.value], ""));
    fields.lamp.addEventListener("change", () => { this.takeLamp(); refresh(); });
    fields.position.addEventListener("change", refresh);
    fields.programme.addEventListener("change", refresh);
    fields.add.addEventListener("change", () => this.addSubstance(fields.add.value));
    fields.open.addEventListener("change", () => this.open(fields.open.files[0]));
    this.node.querySelector(".save").addEventListener("click", () => this.save());
    this.form.addEventListener("submit", (event) => event.preventDefault());
    this.takeLamp();
    this.takeGel(state.start.gels[gel], "", false);
  }

  takeLamp() {
    const lamp = state.start.lamps[this.form.elements.lamp.value];
    fill(this.form.elements.position, lamp.positions.map((each) => [each, each === lamp.weakest ? `${each} (weakest)` : each]), lamp.weakest);
    fill(this.form.elements.programme, lamp.programmes.map((each) => [each, each.replaceAll("_", " ")]), "steady");
  }

  takeGel(gel, text, asks = true) {
    this.gel = gel;
    this.gelText = text;
    this.loadings = { ...gel.initiators_wt_pct, ...gel.amines_wt_pct };
    this.values = { thickness_um: gel.thickness_um, seconds: gel.seconds };
    this.drawSliders();
    if (asks) refresh();
  }

  most(key) {
    return Math.max(state.start.initiators[key] ?? state.start.amines[key], this.loadings[key] || 0);
  }

  drawSliders() {
    const place = this.node.querySelector(".sliders");
    const [thin, thick] = state.start.thickness_um, [short, long] = state.start.seconds;
    place.replaceChildren(
      this.slider("Film", "µm", thin, thick, 5, this.values.thickness_um, (value) => { this.values.thickness_um = value; }),
      this.slider("Time", "s", short, Math.min(long, 180), 1, this.values.seconds, (value) => { this.values.seconds = value; }),
      ...Object.keys(this.loadings).map((key) => this.slider(key, "wt%", 0, this.most(key), 0.01, this.loadings[key], (value) => { this.loadings[key] = value; })),
    );
    const others = [...Object.keys(state.start.initiators), ...Object.keys(state.start.amines)].filter((key) => !(key in this.loadings));
    fill(this.form.elements.add, [["", "choose"], ...others.map((key) => [key, key])], "");
  }

  slider(name, unit, low, high, step, value, keep) {
    const label = document.createElement("label");
    const words = document.createElement("span");
    words.textContent = `${name} / ${unit}`;
    const range = document.createElement("input"), number = document.createElement("input");
    for (const [input, type] of [[range, "range"], [number, "number"]]) {
      Object.assign(input, { type, min: low, max: high, step: type === "range" ? step : "any", value });
      input.setAttribute("aria-label", `${name}, ${unit}, side ${this.letter}${type === "range" ? "" : ", as a number"}`);
    }
    range.name = name;
    const changed = (from, to) => {
      const found = Number(from.value);
      if (from.value === "" || !(found >= low && found <= high)) return;
      to.value = found;
      keep(found);
      refresh();
    };
    range.addEventListener("input", () => changed(range, number));
    number.addEventListener("input", () => changed(number, range));
    label.append(words, number, range);
    return label;
  }

  addSubstance(key) {
    if (!key) return;
    this.loadings[key] = 0.1;
    this.drawSliders();
    refresh();
  }

  async open(file) {
    if (!file) return;
    try {
      const text = await file.text();
      this.takeGel(await ask("/api/gel", { text }), text);
      trouble("");
    } catch (error) {
      trouble(error.message);
    }
  }

  async save() {
    try {
      const { text } = await ask("/api/save", this.question());
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
      link.download = `${this.gel.name.toLowerCase().replaceAll(/[^a-z0-9]+/g, "_")}.toml`;
      link.click();
      URL.revokeObjectURL(link.href);
    } catch (error) {
      trouble(error.message);
    }
  }

  question() {
    const fields = this.form.elements;
    const part = (known) => Object.fromEntries(Object.entries(this.loadings).filter(([key]) => key in known));
    return {
      ...(this.gelText ? { gel_text: this.gelText } : { gel: fields.gel.value }),
      lamp: fields.lamp.value,
      position: fields.position.value,
      programme: fields.programme.value,
      ...this.values,
      initiators_wt_pct: part(state.start.initiators),
      amines_wt_pct: part(state.start.amines),
    };
  }

  /* A side that shows its answer already is left as it is. */
  showOnce(found, question) {
    const asked = JSON.stringify([question, document.body.classList.contains("lesson")]);
    if (asked === this.shown) return;
    this.show(found);
    this.shown = asked;
  }

  show(found) {
    const node = this.node, good = found.cures_through && found.stays_cool;
    node.querySelector(".name").textContent = `${this.letter}: ${this.gel.name} in ${state.start.lamps[this.form.elements.lamp.value].name}`;
    node.querySelector(".demonstration").hidden = !found.is_demonstration;
    const verdict = node.querySelector(".verdict");
    verdict.classList.toggle("good", good);
    node.querySelector(".headline").textContent = `${good ? "✓" : "✗"} ${found.verdict[0].toUpperCase()}${found.verdict.slice(1)}`;
    const numbers = [
      ["base", "Base", found.soft.base_fraction.toFixed(3), `${found.soft.position}; asked ${found.asked_fraction.toFixed(2)}, possible ${found.possible_fraction.toFixed(2)}`, found.cures_through],
      ["nail-bed", "Nail bed", `${found.hot.nail_bed_c.toFixed(1)} °C`, `${found.hot.position}; limit ${found.nail_bed_max_c.toFixed(0)} °C`, found.stays_cool],
      ["tacky", "Tacky layer", `${Math.max(...found.positions.map((row) => row.uncured_layer_um)).toFixed(0)} µm`, "uncured gel: wipe it off, keep it off the skin", null],
    ];
    node.querySelector(".numbers").replaceChildren(...numbers.map(([key, name, value, words, kept]) => {
      const item = document.createElement("li");
      item.className = `${key} ${kept === null ? "" : kept ? "kept" : "broken"}`;
      const strong = document.createElement("strong"), remark = document.createElement("span");
      strong.textContent = value;
      remark.textContent = words + (kept === null ? "" : kept ? ": ✓\u00a0kept" : ": ✗\u00a0broken");
      item.append(`${name} `, strong, " ", remark);
      return item;
    }));
    const words = document.body.classList.contains("lesson") ? found.plain : found.sentences;
    node.querySelector(".sentences").replaceChildren(...words.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
    node.querySelector(".reason").textContent = found.why;
    node.querySelector(".shares").replaceChildren(...Object.entries(found.light.share_fraction).map(([key, share]) => Object.assign(document.createElement("li"), { textContent: `${key} alone would take ${(100 * share).toFixed(1)} % of this lamp's light in the fresh film` })));
    node.querySelector("tbody").replaceChildren(...found.positions.map((row) => {
      const line = document.createElement("tr");
      const head = Object.assign(document.createElement("th"), { scope: "row", textContent: row.position });
      const cells = [row.bottom_conversion_fraction.toFixed(3), row.uncured_layer_um.toFixed(1), row.film_peak_c.toFixed(1), row.nail_bed_peak_c.toFixed(1), row.cem43_min > 1000 ? "over 1000" : row.cem43_min.toPrecision(2)];
      line.append(head, ...cells.map((text) => Object.assign(document.createElement("td"), { textContent: text })));
      return line;
    }));
    this.draw(found);
  }

  draw(found) {
    const finger = this.form.elements.position.value, light = found.light;
    const highest = Math.max(...light.mw_cm2_nm), keys = Object.keys(light.absorbed_percent);
    chart(this.node.querySelector(".light"), {
      x: [light.nm[0], light.nm[light.nm.length - 1], "wavelength / nm"], y: [0, 100, "absorbed / %"],
      areas: [{ x: light.nm, y: light.mw_cm2_nm.map((each) => (90 * each) / highest) }],
      lines: keys.map((key) => ({ x: light.nm, y: light.absorbed_percent[key], name: key })),
      words: `Lamp light at ${finger}, ${light.irradiance_mw_cm2.toFixed(0)} mW/cm², and the share each initiator absorbs by wavelength.`,
    });
    chart(this.node.querySelector(".depth"), {
      x: [0, this.values.thickness_um, "depth below the surface / µm"], y: [0, 1, "conversion"],
      levels: [{ y: found.asked_fraction, name: `asked for ${found.asked_fraction.toFixed(2)}`, kind: "limit", isBelow: true }, { y: found.possible_fraction, name: "possible", kind: "soft" }],
      lines: [{ x: found.depth.um, y: found.depth.conversion, name: finger }], legendLow: true,
      words: `Conversion against depth at ${finger}: ${found.depth.conversion[found.depth.conversion.length - 1].toFixed(2)} at the base.`,
    });
    const hottest = Math.max(...found.time.film_c, found.nail_bed_max_c + 2);
    chart(this.node.querySelector(".heat"), {
      x: [0, found.time.s[found.time.s.length - 1], "time / s"], y: [Math.min(30, ...found.time.nail_bed_c), hottest + 3, "°C"],
      levels: [{ y: found.nail_bed_max_c, name: `${found.nail_bed_max_c.toFixed(0)} °C nail bed, limit`, kind: "limit" }, { y: 71, name: "71 °C film: common practice, no source", kind: "soft" }],
      lines: [{ x: found.time.s, y: found.time.nail_bed_c, name: "nail bed" }, { x: found.time.s, y: found.time.film_c, name: "film, hottest" }],
      words: `At ${finger} the film peaks at ${Math.max(...found.time.film_c).toFixed(0)} °C and the nail bed at ${Math.max(...found.time.nail_bed_c).toFixed(1)} °C.`,
    });
  }
}

/* What side B does differently, in a sentence. */
function compared(one, other) {
  const base = other.soft.base_fraction - one.soft.base_fraction, bed = other.hot.nail_bed_c - one.hot.nail_bed_c;
  const cure = Math.abs(base) < 0.005 ? "cures as far at the base" : `cures ${base > 0 ? "further" : "less far"} at the base (${other.soft.base_fraction.toFixed(2)} against ${one.soft.base_fraction.toFixed(2)})`;
  const heat = Math.abs(bed) < 0.05 ? "warms the nail bed as much" : `gets the nail bed ${Math.abs(bed).toFixed(1)} °C ${bed > 0 ? "hotter" : "cooler"}`;
  return `B beside A: ${cure} and ${heat}.`;
}

function trouble(text) {
  byId("trouble").textContent = text;
}

/* One question at a time; whatever moved meanwhile is asked once more at the end. */
async function refresh() {
  if (state.busy) {
    state.waiting = true;
    return;
  }
  state.busy = true;
  const moved = performance.now();
  try {
    const questions = state.sides.map((side) => side.question());
    const { sides } = await ask("/api/cure", { sides: questions });
    sides.forEach((found, i) => state.sides[i] && state.sides[i].showOnce(found, questions[i]));
    byId("compare").textContent = sides.length === 2 && state.sides.length === 2 ? compared(sides[0], sides[1]) : "";
    trouble("");
  } catch (error) {
    trouble(error.message);
  }
  document.body.dataset.answeredMs = (performance.now() - moved).toFixed(1);
  document.body.dataset.answers = String(Number(document.body.dataset.answers || 0) + 1);
  state.busy = false;
  if (state.waiting) {
    state.waiting = false;
    refresh();
  }
}

function lay() {
  const both = byId("two").checked;
  const gels = Object.keys(state.start.gels), lamps = Object.keys(state.start.lamps);
  if (state.sides.length === 0) state.sides.push(new Side("A", gels[0], lamps[0]));
  if (both && state.sides.length === 1) {
    const fields = state.sides[0].form.elements;
    const other = lamps[(lamps.indexOf(fields.lamp.value) + 1) % lamps.length];
    state.sides.push(new Side("B", fields.gel.value, other));
  }
  if (!both) state.sides.length = 1;
  const place = byId("sides");
  place.classList.toggle("two", both);
  place.replaceChildren(...state.sides.map((side) => side.node));
  refresh();
}

async function begin() {
  try {
    state.start = await ask("/api/start");
  } catch (error) {
    trouble(`The page got no answer: ${error.message}. Is gelwright still running?`);
    return;
  }
  byId("cautions").querySelector("ul").replaceChildren(...state.start.cautions.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  byId("two").addEventListener("change", lay);
  byId("lesson").addEventListener("change", () => {
    document.body.classList.toggle("lesson", byId("lesson").checked);
    refresh();
  });
  lay();
}

begin();
