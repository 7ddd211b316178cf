/* The review: one report at a time. Nothing is called kept before the server has said so. */
import { NoAnswer, get, post } from "./ask.js";
import { at, button, data, empty, put, say, trouble } from "./build.js";
import { Hidden } from "./hidden.js";
import { Keys } from "./keys.js";
import { ReportList } from "./list.js";
import { ReportMap } from "./map.js";
import { Mover } from "./mover.js";
import { showReport } from "./report.js";
import { shortcuts } from "./shortcuts.js";
import { Who } from "./who.js";

const DONE = { accept: "accepted", "ask back": "asked back", "not sure": "not sure", reject: "rejected" };
const WHY = { "ask back": "What to ask for?", "not sure": "What is not sure?", reject: "Why reject?" };
const UNDO = "Undo takes it back.";
let info, map, mover, hidden, list, reviewer;
let view = null, busy = false, asking = null, lastInQueue = null;

const page = () => ["work", "done", "list"].find((id) => !at(id).hidden);
const reviewing = () => page() === "work" && !asking && !mover.on && view !== null;

/* Which of the three pages is shown, and what the dock holds. */
function turnTo(wanted) {
  for (const id of ["work", "done", "list"]) at(id).hidden = id !== wanted;
  dock();
}
function dock() {
  const work = page() === "work";
  at("reasons").hidden = !(work && asking);
  at("mover").hidden = !(work && mover.on);
  at("verdicts").hidden = !work || Boolean(asking) || mover.on;
  at("dock").classList.toggle("bare", !work);
  document.body.classList.toggle("moving", work && mover.on);
}

async function open(row, { words = "", focus = true } = {}) {
  const found = await get(`/api/report/${row}`, hidden.on ? { tags: "1" } : {});
  view = found;
  asking = null;
  if (view.queue !== null) lastInQueue = row;
  history.replaceState(null, "", `#r${row}`);
  turnTo("work");
  showReport(view, { look, pair, canReturn: lastInQueue !== null || info.first !== null });
  map.show(view);
  dock();
  progress(view.open);
  if (words) say(words);
  if (focus) at("title").focus({ preventScroll: true });
}

function progress(left) {
  const done = info.of - left;
  const where = view && view.queue !== null ? `${view.queue + 1} of ${info.of}` : `${info.of} in the queue`;
  at("position").textContent = where;
  at("to_go").textContent = left ? `${left} to decide` : "all decided";
  at("bar").setAttribute("aria-valuemax", String(info.of));
  at("bar").setAttribute("aria-valuenow", String(done));
  at("bar").setAttribute("aria-valuetext", `${done} of ${info.of} decided`);
  at("bar_done").style.width = `${info.of ? (100 * done) / info.of : 100}%`;
  document.title = `${where} – review of reports`;
}

function finished(left, words) {
  view = null;
  history.replaceState(null, "", location.pathname);
  turnTo("done");
  at("done_title").textContent = left ? "This is the end of the queue" : "Every report of the queue is decided";
  at("done_words").textContent = left
    ? `${left} that you went past still wait for a decision.`
    : "Thank you. You can close this page and end roadrisk in its terminal (Ctrl-C); the next run uses these decisions.";
  at("done_open").hidden = !left;
  progress(left);
  if (words) say(words);
  at("done").focus();
}

/* Runs one request at a time, and says plainly what became of it. A decision that comes while
   another is on its way is not taken: it was meant for what was on the screen. What only leads
   elsewhere waits for its turn. */
let running = Promise.resolve();
function once(does) {
  if (!busy) running = run(does);
  return running;
}
function later(does) {
  running = running.then(() => run(does));
  return running;
}
async function run(does) {
  busy = true;
  say("");
  document.body.classList.add("busy");
  at("dock").setAttribute("aria-busy", "true");
  try {
    await does();
  } catch (error) {
    await failed(error);
  } finally {
    busy = false;
    document.body.classList.remove("busy");
    at("dock").removeAttribute("aria-busy");
  }
}
async function failed(error) {
  if (error.status === 409 && !reviewer.name) {
    reviewer.ask();
    return;
  }
  if (error.status === 409 && view) {
    try {
      await open(view.row, { focus: false });
    } catch (second) {
      trouble(second.message);
      return;
    }
  }
  const known = error instanceof NoAnswer || error.status;
  if (!known) console.error(error);
  trouble(known ? error.message : "Something on this page failed; reload it.");
}

function decide(verdict, reason) {
  once(async () => {
    const { next, open: left } = await post("/api/decide", { row: view.row, verdict, reason, seen: view.seen });
    const but = verdict === "accept" && view.cannot_count ? ` ${view.cannot_count}` : "";
    const words = `Kept: ${DONE[verdict]}.${but} ${UNDO}`;
    asking = null;
    at("reason").value = "";
    const back = view.queue === null ? lastInQueue : next;
    if (back === null) finished(left, words);
    else await open(back, { words });
  });
}

/* A verdict that needs a reason asks for it in the dock. */
function begin(verdict) {
  if (!reviewing() || busy) return;
  if (verdict === "accept") {
    decide("accept", "");
    return;
  }
  asking = verdict;
  at("reason_title").textContent = WHY[verdict];
  const choices = empty("reason_choices");
  info.reasons[verdict].forEach((reason, i) => {
    const mine = button(choices, `${reason} `, "quiet", () => decide(verdict, reason));
    put(mine, "kbd", String(i + 1));
  });
  at("reason_words").textContent = verdict === "not sure" ? "In your own words, or nothing" : "In your own words";
  dock();
  say("");
  /* Not on the first choice: an Enter too many would take it. Tab leads there. */
  at("reason_title").focus();
}
function chosen(event) {
  const reason = info.reasons[asking][Number(event.key) - 1];
  if (reason) decide(asking, reason);
}
function keepReason(event) {
  event.preventDefault();
  const reason = at("reason").value.trim();
  if (reason || asking === "not sure") decide(asking, reason);
  else trouble("Say why: choose one or write it. The reason is kept with the decision.");
}
function cancel() {
  if (page() === "list") {
    closeList();
    return;
  }
  if (mover.on) mover.stop();
  asking = null;
  dock();
  say("Nothing was changed.");
  at("title").focus({ preventScroll: true });
}

function startMoving() {
  if (!reviewing() || busy) return;
  mover.start();
  dock();
}
function savePlace(place, words) {
  once(async () => {
    await post("/api/place", { row: view.row, ...place, seen: view.seen });
    await open(view.row, { words: `${words} ${UNDO}` });
  });
}
function useProposed() {
  if (!reviewing() || !view.proposed) return;
  const [latitude, longitude] = view.proposed.place;
  savePlace({ latitude, longitude }, "Kept: the proposed position. Now decide on the report.");
}

function pair(other, same) {
  once(async () => {
    await post("/api/pair", { row: view.row, other, same, seen: view.seen });
    const words = same ? "Kept: the same animal, it counts once." : "Kept: not the same animal, they count apart.";
    await reopen(`${words} ${UNDO}`);
    at("same_title").focus({ preventScroll: true });
  });
}
/* Shows the same report anew without losing the place where somebody reads. */
async function reopen(words) {
  const top = at("left").scrollTop;
  await open(view.row, { focus: false, words });
  at("left").scrollTop = top;
}
const look = (row) => later(() => open(row));

function undo(number) {
  later(async () => {
    const latest = number === undefined ? await get("/api/latest") : [{ number }];
    if (!latest.length) {
      say("There is nothing of yours to take back.");
      return;
    }
    const done = await post("/api/undo", { number: latest[0].number });
    const words = `Taken back: ${done.words}.`;
    const inList = at("latest").open;
    if (done.row !== null) await open(done.row, { words, focus: !inList });
    else say(words);
    if (inList) await showLatest(words);
  });
}
async function showLatest(words = "") {
  const latest = await get("/api/latest");
  at("latest_none").hidden = latest.length > 0;
  at("latest_said").textContent = words;
  const lines = empty("latest_lines");
  for (const entry of latest) {
    const line = put(lines, "li");
    data(line, entry.words).id = `entry_${entry.number}`;
    const mine = button(line, "Take back", "quiet", () => undo(entry.number));
    mine.setAttribute("aria-describedby", `entry_${entry.number}`);
  }
  if (!at("latest").open) at("latest").showModal();
  else at("latest_title").focus();
}

function go(way) {
  later(async () => {
    if (!reviewing()) return;
    if (view.queue === null) {
      await backInQueue();
      return;
    }
    if (view[way] !== null) await open(view[way]);
    else if (way === "before") say("This is the first report of the queue.");
    else finished(view.open, "");
  });
}
async function backInQueue() {
  const start = lastInQueue === null ? (await get("/api/start")).first : lastInQueue;
  if (start === null) finished(0, "");
  else await open(start);
}
const toQueue = () => later(backInQueue);
const toWaiting = () => once(async () => {
  const { first } = await get("/api/start");
  if (first === null) finished(0, "");
  else await open(first);
});

const openList = (focus = "list_title") => later(async () => {
  if (page() !== "list") list.load(0);
  turnTo("list");
  at(focus).focus();
});
const searchList = () => openList("list_search");
function closeList() {
  if (view) later(() => open(view.row));
  else toQueue();
}

function wire() {
  const on = (element, act) => element.addEventListener("click", (event) => {
    /* The second click of a double click would fall on the next report. */
    if (event.detail < 2) act();
  });
  for (const mine of document.querySelectorAll("[data-verdict]")) on(mine, () => begin(mine.dataset.verdict));
  const acts = {
    back: () => go("before"), next: () => go("after"), undo: () => undo(), move: startMoving,
    use_proposed: useProposed, to_queue: toQueue, to_list: () => openList(), done_list: () => openList(), done_open: toWaiting,
    to_latest: () => later(() => showLatest()), latest_close: () => at("latest").close(),
    to_help: () => at("help").showModal(), help_close: () => at("help").close(),
    reason_cancel: cancel, mover_cancel: cancel,
  };
  for (const [id, act] of Object.entries(acts)) on(at(id), act);
  at("reasons").addEventListener("submit", keepReason);
  new Keys(shortcuts({
    reviewing, begin, chosen, go, undo, useProposed, startMoving, searchList, openList: () => openList(), cancel, mover,
    asking: () => asking, showLatest: () => later(() => showLatest()), toggleHidden: () => hidden.toggle(),
    canCancel: () => Boolean(asking) || mover.on || page() === "list",
  }));
}

async function start() {
  try {
    info = await get("/api/start");
  } catch (error) {
    trouble(error.message);
    return;
  }
  at("study").textContent = info.study;
  for (const words of info.warnings) put(at("warnings"), "li", words, words.startsWith("Take care") ? "care" : "");
  at("credit").textContent = info.credit;
  map = new ReportMap({ look, movedTo: (place) => mover.movedTo(place), units: () => info.units });
  mover = new Mover(map, { view: () => view, units: () => info.units, savePlace });
  hidden = new Hidden(map, (words) => later(async () => {
    if (view) await reopen(words);
  }));
  list = new ReportList(info, { open: look, close: closeList });
  reviewer = new Who(info.reviewer);
  wire();
  const wanted = /^#r(\d{1,9})$/.exec(location.hash);
  const row = wanted && Number(wanted[1]) < info.reports ? Number(wanted[1]) : info.first;
  await once(async () => {
    if (row === null) finished(0, "");
    else await open(row, { focus: false });
  });
  if (!reviewer.name) reviewer.ask();
}
start();
