// SPDX-License-Identifier: MIT
// Compare: batches found while one types, curves read at any place, the picture as a file; while a
// batch is open the page is written anew as marks and readings come.

import { facts } from "./facts.js";
import { call, showFault } from "./kitchen_api.js";
import { degree, plain, shownTemperature } from "./figures.js";
import { Live } from "./live.js";
import { showConnection } from "./connection.js";
import { fetchPage, putParts, rememberParts } from "./refresh.js";

const TYPING_MS = 300;
const MARKED_MS = 500;
const READINGS_MS = 30000;
const PNG_SCALE = 2;
const STEPS = 1000;

/** @returns {{axis_unit: string, open: string[], chosen: string[], band: number[][],
 * lines: {letter: string, points: number[][]}[]}} */
function told() {
  return /** @type {any} */ (facts).compare;
}

/** @param {number[][]} points @param {number} place @returns {number|null} [degC] */
function valueAt(points, place) {
  if (!points.length || place < points[0][0] || place > points[points.length - 1][0]) return null;
  let low = 0;
  let high = points.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (points[middle][0] <= place) low = middle;
    else high = middle;
  }
  const [x1, y1] = points[low];
  const [x2, y2] = points[high];
  return x2 > x1 ? y1 + ((place - x1) / (x2 - x1)) * (y2 - y1) : y1;
}

/** @param {SVGSVGElement} picture @param {number} share of the plot's width */
function putLine(picture, share) {
  const { left, right, top, bottom } = picture.dataset;
  let line = picture.querySelector(".read-line");
  if (!line) {
    line = /** @type {SVGPathElement} */ (document.createElementNS(picture.namespaceURI, "path"));
    line.setAttribute("class", "read-line");
    line.setAttribute("fill", "none");
    picture.append(line);
  }
  const x = Number(left) + share * (Number(right) - Number(left));
  line.setAttribute("d", `M${x.toFixed(1)} ${top}V${bottom}`);
}

/** @param {string} name @param {string} words @returns {HTMLElement} */
function valueBox(name, words) {
  const box = document.createElement("div");
  const term = document.createElement("dt");
  if (name.length === 1) term.className = "letter";
  term.textContent = name;
  const value = document.createElement("dd");
  value.textContent = words;
  box.append(term, value);
  return box;
}

function readCurves() {
  const slider = document.getElementById("read-at");
  const values = document.getElementById("read-values");
  const where = document.getElementById("read-place");
  /** @type {NodeListOf<SVGSVGElement>} */
  const pictures = document.querySelectorAll("#overlay svg");
  if (!(slider instanceof HTMLInputElement) || !values || !where || !pictures.length) return;
  const share = Number(slider.value) / STEPS;
  const from = Number(pictures[0].dataset.from);
  const place = from + share * (Number(pictures[0].dataset.to) - from);
  where.textContent = `${plain(place, 1)} ${told().axis_unit}`;
  slider.setAttribute("aria-valuetext", where.textContent);
  values.textContent = "";
  told().lines.forEach((line) => {
    const degc = valueAt(line.points, place);
    values.append(valueBox(line.letter, degc === null ? "–" : `${plain(shownTemperature(degc), 1)} ${degree()}`));
  });
  const [low, high] = [1, 2].map((column) => valueAt(told().band.map((point) => [point[0], point[column]]), place));
  if (low !== null && high !== null) {
    values.append(valueBox("good batches", `${plain(shownTemperature(low), 1)} to ${plain(shownTemperature(high), 1)} ${degree()}`));
  }
  pictures.forEach((picture) => putLine(picture, share));
}

/** @param {PointerEvent} event on the picture: the curves are read there */
function readWhere(event) {
  const picture = event.target instanceof Element ? event.target.closest("#overlay svg") : null;
  const slider = document.getElementById("read-at");
  if (!(picture instanceof SVGSVGElement) || !(slider instanceof HTMLInputElement)) return;
  if (event.type === "pointermove" && event.pointerType !== "mouse" && !event.buttons) return;
  const box = picture.getBoundingClientRect();
  const x = ((event.clientX - box.left) / box.width) * picture.viewBox.baseVal.width;
  const { left, right } = picture.dataset;
  const share = (x - Number(left)) / (Number(right) - Number(left));
  slider.value = String(Math.round(Math.min(1, Math.max(0, share)) * STEPS));
  readCurves();
}

function offerReading() {
  const place = document.getElementById("reading-line");
  const slider = document.getElementById("read-at");
  if (!place || !(slider instanceof HTMLInputElement)) return;
  place.hidden = false;
  slider.addEventListener("input", readCurves);
  const picture = document.getElementById("overlay");
  if (picture) ["pointerdown", "pointermove"].forEach((name) => picture.addEventListener(name, /** @type {any} */ (readWhere)));
  readCurves();
}

/** @param {any} batch one of the list @returns {HTMLElement} */
function foundLine(batch) {
  const line = document.createElement("li");
  const add = document.createElement("a");
  const query = new URLSearchParams(location.search);
  query.append("batch", batch.id);
  query.delete("q");
  add.className = "button second";
  add.href = `/compare?${query}`;
  add.textContent = "Add";
  const whose = document.createElement("span");
  whose.className = "unseen";
  whose.textContent = `: ${batch.name}`;
  add.append(whose);
  const words = document.createElement("span");
  const name = document.createElement("b");
  name.textContent = batch.name;
  const note = document.createElement("span");
  note.className = "note";
  const day = new Intl.DateTimeFormat("en-GB", {
    weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
    hour12: false, timeZone: facts.zone,
  }).format(Date.parse(batch.started_at));
  const told = [day, batch.pot, batch.recipe ? batch.recipe.name : "", batch.state];
  note.textContent = told.filter(Boolean).join(" · ");
  words.append(name, batch.outcome ? `, ${batch.outcome} ` : " ", note);
  line.append(add, words);
  return line;
}

/** @param {HTMLInputElement} field @param {HTMLElement} list */
async function find(field, list) {
  const words = field.value.trim();
  try {
    const said = await call("GET", `/v1/batches?${new URLSearchParams({ q: words, limit: "20" })}`);
    if (field.value.trim() !== words) return;
    const chosen = told().chosen;
    const others = said.batches.filter((/** @type {any} */ one) => !chosen.includes(one.id)).slice(0, 12);
    list.textContent = "";
    others.forEach((/** @type {any} */ one) => list.append(foundLine(one)));
    if (!others.length) {
      const none = document.createElement("li");
      none.textContent = "No other batch has these words.";
      list.append(none);
    }
  } catch (error) {
    // Without the kitchen the list that came with the page stays.
  }
}

function offerFinding() {
  const field = document.getElementById("find-words");
  const list = document.getElementById("found");
  if (!(field instanceof HTMLInputElement) || !list) return;
  let soon = 0;
  field.addEventListener("input", () => {
    clearTimeout(soon);
    soon = window.setTimeout(() => find(field, list), TYPING_MS);
  });
}

/** The axis is chosen at once; its temperature is asked for only where it matters. */
function fitAxis() {
  const choice = document.getElementById("axis-align");
  if (!(choice instanceof HTMLSelectElement)) return;
  const row = document.querySelector("#axis-form [data-for=temperature]");
  if (row instanceof HTMLElement) row.hidden = choice.value !== "temperature";
  const field = document.getElementById("axis-temperature");
  if (field instanceof HTMLInputElement && choice.value === "temperature" && !field.value) {
    field.value = plain(shownTemperature(60), 0);
  }
}

/** @param {HTMLElement} button */
async function savePng(button) {
  const fault = button.parentElement ? button.parentElement.querySelector(".fault") : null;
  showFault(fault);
  try {
    const answer = await fetch(`/compare/picture.svg${location.search}`, { cache: "no-store", credentials: "same-origin" });
    if (!answer.ok) throw new Error("The picture can't be had from the kitchen.");
    const image = new Image();
    const drawn = new Promise((resolve, reject) => {
      image.onload = resolve;
      image.onerror = () => reject(new Error("This browser can't draw the picture. Save it as SVG."));
    });
    const text = await answer.text();
    const size = /viewBox="0 0 ([\d.]+) ([\d.]+)"/.exec(text);
    const [width, height] = size ? [Number(size[1]), Number(size[2])] : [960, 540];
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text.replace("<svg ", `<svg width="${width}" height="${height}" `))}`;
    await drawn;
    const canvas = document.createElement("canvas");
    canvas.width = width * PNG_SCALE;
    canvas.height = height * PNG_SCALE;
    const pen = canvas.getContext("2d");
    if (!pen) throw new Error("This browser can't draw the picture. Save it as SVG.");
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    const link = document.createElement("a");
    link.href = canvas.toDataURL("image/png");
    link.download = "curdwright-compared.png";
    link.click();
  } catch (error) {
    showFault(fault, error);
  }
}

async function refresh() {
  const newer = await fetchPage();
  if (!newer) return;
  const slider = document.getElementById("read-at");
  const at = slider instanceof HTMLInputElement ? slider.value : "0";
  putParts(newer);
  const fresh = document.getElementById("read-at");
  if (fresh instanceof HTMLInputElement && fresh !== slider) {
    fresh.value = at;
    offerReading();
  }
}

function follow() {
  let soon = 0;
  let due = 0;
  const later = (/** @type {number} */ ms) => {
    if (soon && Date.now() + ms >= due) return;
    clearTimeout(soon);
    due = Date.now() + ms;
    soon = window.setTimeout(() => { soon = 0; refresh(); }, ms);
  };
  const live = new Live(facts.position, {
    onState: showConnection,
    onEvent: (name) => {
      if (name === "mark" || name === "reset") later(MARKED_MS);
      else if (name === "reading" && !document.hidden) later(READINGS_MS);
    },
  });
  live.listenTo({ batches: told().open.length ? told().open : told().chosen });
}

document.addEventListener("change", (event) => {
  if (!(event.target instanceof Element) || event.target.id !== "axis-align") return;
  fitAxis();
  const form = event.target.closest("form");
  if (form instanceof HTMLFormElement) form.submit();
});
const png = document.getElementById("save-png");
if (png) {
  png.hidden = false;
  png.addEventListener("click", () => savePng(png));
}
const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
rememberParts();
fitAxis();
offerFinding();
offerReading();
if (told().chosen.length) follow();
