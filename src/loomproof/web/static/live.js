// The job that runs: what the server says of it, shown; what it asks, answered. Text is only ever set as text.
import { signsOfLife } from "./life.js";

export const live = document.getElementById("live");
export const drives = live.dataset.seat === "drives";
export const at = (id) => document.getElementById(id);
export const made = (tag, text = "", more = {}) => Object.assign(document.createElement(tag), { textContent: text }, more);
const states = new Map();
const cells = new Map();
for (const cell of document.querySelectorAll("[data-end]")) {
  cells.set(cell.dataset.end, cell);
}
const legend = new Map();
for (const item of document.querySelectorAll("#counts [data-state]")) {
  legend.set(item.dataset.state, {
    sign: item.querySelector(".sign").textContent,
    text: item.querySelector(".text").textContent,
    count: item.querySelector(".count"),
  });
}
const SHAPES = { pass: "✓", fail: "✗", undecided: "?", incomplete: "…" };
let now = {};
let heard = performance.now();

// What is pressed or typed goes to the server; what does not come there, or is refused, is told.
export async function send(path, said = {}) {
  const answer = await post(path, said);
  let text = "";
  if (!answer) text = "What was pressed or typed last did not reach the server. Press it again.";
  else if (!answer.ok) text = await refused(answer);
  unsent(text);
  return Boolean(answer?.ok);
}

function post(path, said) {
  return fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(said),
  }).catch(() => null);
}

async function refused(answer) {
  const kind = answer.headers.get("content-type") || "";
  if (!kind.includes("json")) return "Not done: this browser may not do it. Load the page again.";
  const { message, lines } = await answer.json();
  return `Not done: ${message}. ${lines.join(" ")}`;
}

function unsent(text) {
  at("unsent").hidden = !text;
  at("unsent").textContent = text;
}

// An order to stop is given over and over until it has come: it must not be lost with the link.
const AGAIN_MS = 500;
let stopping = false;
async function stop() {
  if (stopping) return;
  stopping = true;
  for (let answer = null; !answer && now.phase === "running"; ) {
    answer = await post("/prove/stop", {});
    if (answer) unsent(answer.ok ? "" : await refused(answer));
    else {
      unsent("The order to stop has not reached the server yet; it is given again and again. Unplug the bench to be sure.");
      await new Promise((again) => setTimeout(again, AGAIN_MS));
    }
  }
  stopping = false;
}

function cavities(changed) {
  for (const [end, state] of Object.entries(changed)) {
    states.set(end, state);
    const cell = cells.get(end);
    if (!cell) continue;
    cell.dataset.state = state;
    cell.querySelector(".sign").textContent = legend.get(state).sign;
    cell.querySelector(".hidden").textContent = legend.get(state).text;
  }
  const counts = new Map();
  for (const state of states.values()) counts.set(state, (counts.get(state) || 0) + 1);
  for (const [state, item] of legend) item.count.textContent = counts.get(state) || 0;
}

function progress() {
  const step = now.progress;
  at("progress").hidden = now.phase !== "running";
  if (now.phase !== "running") return;
  at("what").textContent = now.stopping ? "Stopping; the bench is being released" : step ? step.what : "Beginning";
  const bar = at("bar");
  if (step && step.total) {
    bar.max = step.total;
    bar.value = step.done;
  } else {
    bar.removeAttribute("value");
  }
  const parts = [];
  if (step && step.total) parts.push(`${step.done} of ${step.total}`);
  if (step && step.left_s !== null && step.left_s >= 5) parts.push(`about ${Math.round(step.left_s)} s left`);
  at("left").textContent = parts.join(", ");
}

function verdict() {
  const ending = now.ending;
  at("verdict").hidden = !ending;
  if (!ending) return;
  at("verdict").dataset.verdict = ending.verdict;
  at("verdict").classList.toggle("long", ending.word.length > 12); // words, not one word
  at("verdict").querySelector(".shape").textContent = SHAPES[ending.verdict] || "";
  at("verdict").querySelector(".said").textContent = ending.word;
  at("verdict").querySelector(".lines").replaceChildren(...ending.lines.map((line) => made("li", line)));
  at("verdict").querySelector(".go").hidden = !ending.page;
  at("verdict").querySelector(".go").href = ending.page;
  at("verdict").querySelector(".go").textContent = ending.link;
}

function failed() {
  const error = now.error;
  at("failed").hidden = !error;
  if (!error) return;
  at("failed").replaceChildren(made("h2", error.message), ...error.lines.map((line) => made("p", line)));
}

function question() {
  const asked = now.question;
  const place = at("question");
  if (asked && place.dataset.number === String(asked.number)) return;
  place.hidden = !asked;
  place.replaceChildren();
  // What a yes is said to stands in the question, above its buttons; other questions speak of it in general.
  at("told").open = Boolean(asked) && asked.kind !== "yes";
  delete place.dataset.number;
  for (const mark of document.querySelectorAll(".asked")) mark.remove();
  if (!asked) return;
  const cell = cells.get(asked.end);
  if (cell) {
    cell.append(made("strong", "➜ here", { className: "asked" }));
    cell.scrollIntoView({ block: "nearest" });
  }
  place.dataset.number = asked.number;
  place.append(...asked.told.map(prompt), made("h2", asked.text));
  if (!drives) {
    place.append(made("p", "Whoever is at the bench answers this."));
    return;
  }
  const answer = async (said) => {
    const buttons = [...place.querySelectorAll("button")];
    for (const button of buttons) button.disabled = true;
    if (await send("/prove/answer", { number: asked.number, said })) return;
    for (const button of buttons) button.disabled = false; // it has not come, and can be sent again
  };
  const form = made("form");
  const lines = [];
  const items = asked.kind === "notes" ? asked.items : asked.kind === "text" ? [["", "Answer"]] : [];
  for (const [name, text] of items) {
    const label = made("label", text);
    const field = made("input", "", { name, autocomplete: "off" });
    label.append(field);
    form.append(label);
    lines.push(field);
  }
  if (asked.kind === "yes") {
    const yes = made("button", asked.yes, { type: "button", className: "main" });
    const no = made("button", asked.no, { type: "button" });
    yes.addEventListener("click", () => answer(true));
    no.addEventListener("click", () => answer(false));
    form.append(yes, no);
  } else {
    form.append(made("button", "Answer", { className: "main" }));
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (asked.kind === "text") answer(lines[0].value);
    if (asked.kind === "notes") answer(Object.fromEntries(lines.map((field) => [field.name, field.value])));
  });
  place.append(form);
  if (lines.length) lines[0].focus();
}

function prompt(each) {
  const part = made("div", "", { className: "prompt" });
  part.append(made("p", each.text));
  if (each.lines.length) {
    const list = made("ul");
    list.append(...each.lines.map((line) => made("li", line)));
    part.append(list);
  }
  return part;
}

function told() {
  at("told").hidden = now.told.length === 0;
  at("told").querySelector(".last").textContent = now.told.length ? now.told.at(-1).text : "";
  at("told").querySelector(".lines").replaceChildren(
    ...now.told.map(prompt),
  );
}

// A job with a page of its own is looked at there, and what it came to.
function elsewhere() {
  const link = at("elsewhere");
  link.hidden = !now.page || now.page === location.pathname || now.phase === "idle";
  if (link.hidden) return;
  link.querySelector("a").href = now.page;
  at("verdict").hidden = true;
}

const stream = new EventSource("/prove/events");
stream.addEventListener("message", (event) => {
  heard = performance.now();
  const said = JSON.parse(event.data);
  if (said.loom !== undefined && said.loom !== live.dataset.loom) {
    location.reload(); // the faces of another loom
    return;
  }
  if (said.begun !== undefined && said.begun !== now.begun) states.clear();
  const view = said.begun !== undefined && said.begun !== now.begun ? said.view : { ...now.view, ...said.view };
  if (said.phase !== undefined && said.phase !== now.phase) unsent(""); // what it was about is over
  now = { ...now, ...said, view: view || {} };
  at("title").textContent = now.title || "Nothing runs";
  at("idle").hidden = now.phase !== "idle";
  cavities(said.cavities);
  progress();
  verdict();
  failed();
  question();
  if (said.told !== undefined) told();
  elsewhere();
  document.dispatchEvent(new CustomEvent("told", { detail: { said, now } })); // for the job's own page
});
stream.addEventListener("life", () => {
  heard = performance.now();
});

setInterval(() => {
  at("lost").hidden = performance.now() - heard < 4000;
}, 1000);
if (drives) signsOfLife(() => now.phase === "running");

if (drives) {
  at("stop").form.addEventListener("submit", (event) => {
    event.preventDefault();
    stop();
  });
  at("esc").hidden = false;
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && now.phase === "running") stop();
  });
}
