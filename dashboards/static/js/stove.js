// SPDX-License-Identifier: MIT
// The Stove: wires the cards, the stream, the marks, the notices and the forms of the page.

import { facts, readFacts } from "./facts.js";
import { Card } from "./card.js";
import { Live } from "./live.js";
import { showConnection } from "./connection.js";
import { listenForMarks, onMarked, showWaiting } from "./marks.js";
import { listenForProposals, onAnswered } from "./proposals.js";
import { listenForQuestions } from "./questions.js";
import { listenForOffers } from "./offers.js";
import { flush, onOutbox } from "./outbox.js";
import { fetchPage, putParts, rememberParts } from "./refresh.js";
import { plotsOffered } from "./curve_slot.js";
import { hushNotices, showNotice, showNotices } from "./alarms.js";
import { watchShift } from "./shift.js";
import { keepKeyBatch, watchKey } from "./pedal.js";
import { watchPush } from "./push.js";
import { watchRoutes } from "./routes.js";
import { watchStart } from "./start_batch.js";
import { watchVoice } from "./voice.js";

const SOON_MS = 150;
const LOOK_AGAIN_MS = 10000;
/** @type {Map<string, Card>} */
const cards = new Map();
let soon = 0;
let missed = false;
let lookedAt = Date.now();

function mountCards() {
  document.querySelectorAll(".pot[data-batch]").forEach((element) => {
    const id = element.getAttribute("data-batch") || "";
    if (element instanceof HTMLElement && !cards.has(id)) cards.set(id, new Card(element));
  });
}

/** @param {Document} newer cards of batches that were started or ended meanwhile */
function exchangeCards(newer) {
  const place = document.getElementById("pots");
  if (!place) return;
  const wanted = new Set();
  newer.querySelectorAll(".pot[data-batch]").forEach((fresh) => {
    const id = fresh.getAttribute("data-batch") || "";
    wanted.add(id);
    const here = cards.get(id);
    const element = here ? here.element : document.importNode(fresh, true);
    if (place.children[wanted.size - 1] !== element) place.insertBefore(element, place.children[wanted.size - 1] || null);
  });
  cards.forEach((card, id) => {
    if (wanted.has(id)) return;
    card.stop();
    card.element.remove();
    cards.delete(id);
  });
  const empty = document.querySelector("main > .empty");
  const emptyNow = newer.querySelector("main > .empty");
  if (empty && !emptyNow) empty.remove();
  if (!empty && emptyNow) place.after(document.importNode(emptyNow, true));
}

async function refresh() {
  window.clearTimeout(soon);
  soon = 0;
  lookedAt = Date.now();
  const newer = await fetchPage();
  if (!newer) return;
  const told = readFacts(newer);
  const moved = told.batches.some((batch) => {
    const before = facts.batches.find((one) => one.id === batch.id);
    return before && (before.probe !== batch.probe || before.live !== batch.live || before.scale !== batch.scale);
  });
  const also = [];
  if (moved || missed) also.push("figures");
  missed = false;
  if (!plotsOffered()) also.push("picture");
  exchangeCards(newer);
  putParts(newer, also);
  mountCards();
  cards.forEach((card) => card.renew());
  showNotices(facts.alarms);
  keepKeyBatch();
  listen();
  showWaiting();
}

function refreshSoon() {
  if (!soon) soon = window.setTimeout(refresh, SOON_MS);
}

/** @param {string} name @param {any} data */
function onEvent(name, data) {
  if (name === "reading") cards.forEach((card) => card.take(data));
  else if (["mark", "proposal", "question", "offer"].includes(name)) refreshSoon();
  else if (name === "alarm") { showNotice(data); refreshSoon(); }
  else if (name === "outlook") { const card = cards.get(data.batch); if (card) card.takeOutlook(data); }
  else if (name === "reset") {
    missed = true;
    cards.forEach((card) => { if (card.feed) card.feed.load(); });
    refreshSoon();
  }
}

const live = new Live(facts.position, {
  onEvent,
  onState: (state) => {
    showConnection(state);
    if (state === "live") {
      flush();
      refreshSoon();
    }
  },
});

function listen() {
  const series = new Set();
  facts.batches.forEach((batch) => {
    if (batch.probe && batch.live) series.add(batch.probe);
    if (batch.scale) series.add(batch.scale);
  });
  live.listenTo({ series: /** @type {string[]} */ (Array.from(series)) });
}

function tick() {
  cards.forEach((card) => card.tick());
  const watching = !plotsOffered() || Array.from(cards.values()).some((card) => card.watchesHolds());
  if (watching && !document.hidden && Date.now() - lookedAt > LOOK_AGAIN_MS) refreshSoon();
}

rememberParts();
mountCards();
listenForMarks(document);
listenForProposals(document);
listenForQuestions(refreshSoon);
listenForOffers(refreshSoon);
[onMarked, onAnswered].forEach((told) => told((batch) => {
  hushNotices(batch);
  refreshSoon();
}));
onOutbox(() => { showWaiting(); if (live.state === "lost") showConnection("lost"); });
watchShift();
watchKey();
watchRoutes(refreshSoon);
watchPush(refreshSoon);
watchVoice();
watchStart(refreshSoon);
showWaiting();
showNotices(facts.alarms);
flush();
listen();
setInterval(tick, 1000);
