"use strict";
/* Small line charts as SVG: lines differ in dashes as well as colour, and carry their names. */

const DASHES = ["", "7 3", "2 2.5", "8 3 2 3", "4 2 1 2 1 2"];

function svgElement(name, attributes, parent, text) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  if (parent) parent.append(element);
  return element;
}

function niceStep(span, count) {
  const raw = span / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  const times = raw / power;
  return power * (times < 1.5 ? 1 : times < 3.5 ? 2 : times < 7.5 ? 5 : 10);
}

function ticks(low, high, count) {
  const step = niceStep(high - low, count);
  const found = [];
  for (let value = Math.ceil(low / step) * step; value <= high + 1e-9 * step; value += step) found.push(value);
  return found.map((value) => Number(value.toPrecision(10)));
}

/* chart(place, {x: [low, high, words], y: [low, high, words], lines: [{x, y, name, dash, series}], areas, levels}) */
function chart(place, plan) {
  const width = 420, height = 250, left = 44, right = 12, top = 12, bottom = 38;
  const svg = svgElement("svg", { viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true", focusable: "false" });
  const [x0, x1] = plan.x, [y0, y1] = plan.y;
  const px = (value) => left + ((value - x0) / (x1 - x0)) * (width - left - right);
  const py = (value) => height - bottom - ((Math.min(Math.max(value, y0), y1) - y0) / (y1 - y0)) * (height - top - bottom);
  for (const value of ticks(y0, y1, 5)) {
    svgElement("line", { x1: left, x2: width - right, y1: py(value), y2: py(value), class: "grid" }, svg);
    svgElement("text", { x: left - 5, y: py(value) + 4, class: "tick", "text-anchor": "end" }, svg, String(value));
  }
  for (const value of ticks(x0, x1, 6)) {
    svgElement("text", { x: px(value), y: height - bottom + 15, class: "tick", "text-anchor": "middle" }, svg, String(value));
  }
  const path = (xs, ys) => xs.map((x, i) => `${i ? "L" : "M"}${px(x).toFixed(1)} ${py(ys[i]).toFixed(1)}`).join("");
  for (const area of plan.areas || []) {
    const outline = `${path(area.x, area.y)}L${px(area.x[area.x.length - 1]).toFixed(1)} ${py(y0)}L${px(area.x[0]).toFixed(1)} ${py(y0)}Z`;
    svgElement("path", { d: outline, class: "area" }, svg);
  }
  for (const level of plan.levels || []) {
    if (level.y < y0 || level.y > y1) continue;
    svgElement("line", { x1: left, x2: width - right, y1: py(level.y), y2: py(level.y), class: `level ${level.kind}` }, svg);
    svgElement("text", { x: width - right, y: py(level.y) + (level.isBelow ? 13 : -4), class: `note ${level.kind}`, "text-anchor": "end" }, svg, level.name);
  }
  plan.lines.forEach((line, i) => {
    svgElement("path", { d: path(line.x, line.y), class: `line series-${i}`, "stroke-dasharray": DASHES[i % DASHES.length] }, svg);
    const row = plan.legendLow ? height - bottom - 12 - 14 * i : top + 8 + 14 * i, column = width - right - 118;
    svgElement("line", { x1: column, x2: column + 24, y1: row, y2: row, class: `line series-${i}`, "stroke-dasharray": DASHES[i % DASHES.length] }, svg);
    svgElement("text", { x: column + 30, y: row + 4, class: "tick" }, svg, line.name);
  });
  svgElement("text", { x: (left + width - right) / 2, y: height - 5, class: "axis", "text-anchor": "middle" }, svg, plan.x[2]);
  svgElement("text", { x: 12, y: (top + height - bottom) / 2, class: "axis", "text-anchor": "middle", transform: `rotate(-90 12 ${(top + height - bottom) / 2})` }, svg, plan.y[2]);
  place.replaceChildren(svg);
  place.setAttribute("aria-label", plan.words);
}
