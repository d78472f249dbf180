// SPDX-License-Identifier: MIT
// Curves by uPlot: line, axes and zoom are the library's; bands, target and marks are drawn here.

import library from "../vendor/uPlot.esm.js";
import { facts } from "./facts.js";
import { clockText } from "./clock.js";
import { degree, plain } from "./figures.js";
import { offerPlots } from "./curve_slot.js";

/** @type {any} the library's module carries no types */
const uPlot = library;
const TEXT = 13;
const ROW = 17;
const MOST_ROWS = 4;

/** @param {Element} element @param {string} name @returns {string} */
function colour(element, name) {
  return getComputedStyle(element).getPropertyValue(name).trim() || "#000";
}

/** @param {CanvasRenderingContext2D} pen @param {string} text @param {number} x @param {number} y
 * @param {HTMLElement} element @param {"left"|"right"} align */
function haloed(pen, text, x, y, element, align) {
  pen.textAlign = align;
  pen.textBaseline = "alphabetic";
  pen.lineJoin = "round";
  pen.setLineDash([]);
  pen.lineWidth = 4 * devicePixelRatio;
  pen.strokeStyle = colour(element, "--card");
  pen.strokeText(text, x, y);
  pen.fillStyle = colour(element, "--ink");
  pen.fillText(text, x, y);
}

/** @param {any} plot @param {import("./curve_slot.js").Scene} scene @param {HTMLElement} element */
function drawBands(plot, scene, element) {
  const pen = plot.ctx;
  const { left, top, width, height } = plot.bbox;
  scene.bands.forEach((band) => {
    const x1 = Math.max(left, plot.valToPos(band.from, "x", true));
    const x2 = Math.min(left + width, plot.valToPos(band.to, "x", true));
    const y1 = band.high === null ? top : Math.max(top, plot.valToPos(band.high, "y", true));
    const y2 = band.low === null ? top + height : Math.min(top + height, plot.valToPos(band.low, "y", true));
    if (x2 <= x1 || y2 <= y1) return;
    pen.save();
    pen.beginPath();
    pen.rect(x1, y1, x2 - x1, y2 - y1);
    pen.clip();
    pen.strokeStyle = colour(element, "--kept");
    pen.lineWidth = 1.4 * devicePixelRatio;
    const step = 9 * devicePixelRatio;
    for (let x = x1 - (y2 - y1); x < x2; x += step) {
      pen.beginPath();
      pen.moveTo(x, y2);
      pen.lineTo(x + (y2 - y1), y1);
      if (band.verdict === "not met") {
        pen.moveTo(x, y1);
        pen.lineTo(x + (y2 - y1), y2);
      }
      pen.setLineDash(band.verdict === "not shown" ? [4 * devicePixelRatio, 5 * devicePixelRatio] : []);
      pen.stroke();
    }
    pen.restore();
    pen.setLineDash([]);
    pen.lineWidth = devicePixelRatio;
    pen.strokeStyle = colour(element, "--kept");
    pen.strokeRect(x1, y1, x2 - x1, y2 - y1);
    const below = y2 + (TEXT + 4) * devicePixelRatio;
    const words = `${band.label}: ${band.verdict}`;
    const toLeft = x1 + pen.measureText(words).width > left + width;
    haloed(pen, words, toLeft ? x2 - 2 : x1 + 2, below < top + height ? below : y2 - 6, element, toLeft ? "right" : "left");
  });
}

/** @param {any} plot @param {import("./curve_slot.js").Scene} scene @param {HTMLElement} element */
function drawTarget(plot, scene, element) {
  if (scene.target === null) return;
  const pen = plot.ctx;
  const { left, width } = plot.bbox;
  const y = plot.valToPos(scene.target, "y", true);
  pen.strokeStyle = colour(element, "--warm");
  pen.lineWidth = 2 * devicePixelRatio;
  pen.setLineDash([9 * devicePixelRatio, 5 * devicePixelRatio]);
  pen.beginPath();
  pen.moveTo(left, y);
  pen.lineTo(left + width, y);
  pen.stroke();
  haloed(pen, scene.targetText, left + 4, y - 6 * devicePixelRatio, element, "left");
}

/**
 * Words of marks go into rows above the plot, so that they keep out of each other's way.
 * @param {any} plot @param {import("./curve_slot.js").Scene} scene
 * @returns {{x: number, label: string, row: number, toLeft: boolean}[]}
 */
function placedMarks(plot, scene) {
  const { left, width } = plot.bbox;
  /** @type {number[]} */
  const ends = [];
  const inside = scene.marks.map((mark) => ({ x: plot.valToPos(mark.at, "x", true), label: mark.label }))
    .filter((mark) => mark.x >= left - 1 && mark.x <= left + width + 1).sort((a, b) => a.x - b.x);
  return inside.map(({ x, label }) => {
    const wide = plot.ctx.measureText(label).width + 10 * devicePixelRatio;
    const toLeft = x + wide > left + width;
    const begin = toLeft ? x - wide : x;
    let row = ends.findIndex((end) => end <= begin);
    if (row < 0) row = Math.min(ends.length, MOST_ROWS - 1);
    ends[row] = begin + wide;
    return { x, label, row, toLeft };
  });
}

/** @param {any} plot @param {import("./curve_slot.js").Scene} scene @param {HTMLElement} element
 * @returns {number} how many rows of words there are */
function drawMarks(plot, scene, element) {
  const pen = plot.ctx;
  const { top, height } = plot.bbox;
  const placed = placedMarks(plot, scene);
  const rows = placed.reduce((most, mark) => Math.max(most, mark.row + 1), 0);
  placed.forEach(({ x, label, row, toLeft }) => {
    const y = top - (6 + ROW * (rows - 1 - row)) * devicePixelRatio;
    pen.strokeStyle = colour(element, "--ink");
    pen.lineWidth = devicePixelRatio;
    pen.setLineDash([]);
    pen.beginPath();
    pen.moveTo(x, y - TEXT * devicePixelRatio);
    pen.lineTo(x, top + height);
    pen.stroke();
    haloed(pen, label, toLeft ? x - 5 : x + 5, y, element, toLeft ? "right" : "left");
  });
  return rows;
}

/** @param {any} plot @param {HTMLElement} readout what the cursor points at, in words */
function sayCursor(plot, readout) {
  const index = plot.cursor.idx;
  const s = index === null || index === undefined ? undefined : plot.data[0][index];
  const value = s === undefined ? null : plot.data[1][index];
  readout.textContent = s === undefined || value === null || value === undefined
    ? "" : `${clockText(s * 1000, true)}  ${plain(value, 2)} ${degree()}`;
}

/** @param {import("./curve_slot.js").Wanted} wanted @param {HTMLElement} readout @returns {object} */
function options(wanted, readout) {
  const { element, scene } = wanted;
  const axis = {
    stroke: () => colour(element, "--ink"),
    grid: { stroke: () => colour(element, "--line"), width: 1 },
    ticks: { stroke: () => colour(element, "--line"), width: 1 },
    font: `${TEXT}px system-ui, sans-serif`,
  };
  let rows = 1;
  const draw = (/** @type {any} */ plot) => {
    const told = scene();
    plot.ctx.save();
    plot.ctx.font = `${TEXT * devicePixelRatio}px system-ui, sans-serif`;
    drawBands(plot, told, element);
    drawTarget(plot, told, element);
    const used = drawMarks(plot, told, element);
    plot.ctx.restore();
    if (used === rows) return;
    rows = used;
    setTimeout(() => plot.redraw(false, true), 0);
  };
  return {
    width: Math.max(element.clientWidth, 200),
    height: wanted.height,
    padding: [() => 12 + ROW * rows, 22, 0, 0],
    legend: { show: false },
    cursor: { y: false, drag: { x: wanted.zoom, y: false } },
    tzDate: (/** @type {number} */ s) => uPlot.tzDate(new Date(s * 1000), facts.zone),
    scales: { y: { range: (/** @type {any} */ _plot, /** @type {number} */ low, /** @type {number} */ high) => valueRange(low, high, scene()) } },
    axes: [
      Object.assign({ values: (/** @type {any} */ _plot, /** @type {number[]} */ ticks) => ticks.map((s) => clockText(s * 1000, ticks[1] - ticks[0] < 60)), space: 80 }, axis),
      Object.assign({ values: (/** @type {any} */ _plot, /** @type {number[]} */ ticks) => ticks.map((v, i) => plain(v, 0) + (i === ticks.length - 1 ? ` ${degree()}` : "")), size: 62 }, axis),
    ],
    series: [{}, { stroke: () => colour(element, "--curve"), width: 2.5, points: { show: false }, spanGaps: false }],
    hooks: { draw: [draw], setCursor: [(/** @type {any} */ plot) => sayCursor(plot, readout)] },
  };
}

/** @param {number} low @param {number} high @param {import("./curve_slot.js").Scene} scene @returns {[number, number]} */
function valueRange(low, high, scene) {
  const edges = scene.bands.reduce((all, band) => all.concat([band.low, band.high]), /** @type {(number|null)[]} */ ([]));
  const seen = [low, high, scene.target].concat(edges).filter((one) => one !== null && Number.isFinite(one));
  const least = Math.min.apply(null, /** @type {number[]} */ (seen));
  const most = Math.max.apply(null, /** @type {number[]} */ (seen));
  const margin = Math.max((most - least) * 0.06, 1);
  return [least - margin, most + margin];
}

/** @param {import("./curve_slot.js").Wanted} wanted @returns {import("./curve_slot.js").Plot} */
function make(wanted) {
  const readout = document.createElement("p");
  readout.className = "readout";
  wanted.element.append(readout);
  const plot = new uPlot(options(wanted, readout), [[], []], wanted.element);
  const resize = () => plot.setSize({ width: Math.max(wanted.element.clientWidth, 200), height: wanted.height });
  window.addEventListener("resize", resize);
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  if (dark.addEventListener) dark.addEventListener("change", () => plot.redraw());
  let zoomed = false;
  plot.over.addEventListener("mouseup", () => { zoomed = wanted.zoom; });
  plot.over.addEventListener("dblclick", () => { zoomed = false; });
  return {
    setData: (times, values) => plot.setData([times, values], !zoomed),
    redraw: () => plot.redraw(),
    destroy: () => {
      window.removeEventListener("resize", resize);
      plot.destroy();
    },
  };
}

offerPlots(make);
