// The fitting sheet: ticks go to the server, and wait on this device while it cannot be reached.
const list = document.getElementById("fit");
const ticks = `${list.dataset.address}/ticks`;
const shelf = `loomproof fit ${list.dataset.of}`;
const word = document.getElementById("word");
const person = document.getElementById("person");
const EVERY_MS = 10000;
const UNKNOWN =
  "The server does not know this device any more: it was sent away, or the server was started anew. Come in by a new code.";
let waiting = {};
let kept = {};
let heard = new Date();
let sending = false;

const store = (name, value) => {
  try {
    localStorage.setItem(name, value);
  } catch {
    // Without a store ticks that wait are lost when the page is closed; `say` tells that they wait.
  }
};
const stored = (name) => {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
};

function show() {
  for (const item of list.querySelectorAll("[data-step]")) {
    const step = item.dataset.step;
    const waits = step in waiting;
    const done = waits ? waiting[step].done === "yes" : step in kept;
    item.classList.toggle("done", done && !waits);
    item.classList.toggle("waits", waits);
    item.querySelector(".box").textContent = done ? "☑" : "☐";
    item.querySelector(".when").textContent = waits
      ? `${done ? "ticked" : "unticked"} here, not kept yet`
      : kept[step] || "";
    const button = item.querySelector("button");
    if (!button) continue;
    button.name = done ? "no" : "yes";
    button.setAttribute("aria-pressed", String(done));
  }
  for (const part of list.querySelectorAll(".part")) {
    const all = part.querySelectorAll("[data-step]").length;
    const open = [...part.querySelectorAll("[data-step]")].filter((item) => !(item.dataset.step in kept)).length;
    part.querySelector(".of").textContent = `${all - open} of ${all} ticked`;
  }
}

function say(text, lost = false) {
  if (word.textContent !== text) word.textContent = text;
  word.classList.toggle("lost", lost);
}

function lost() {
  const count = Object.keys(waiting).length;
  const since = heard.toLocaleTimeString();
  const waits = count ? ` ${count} ${count === 1 ? "tick waits" : "ticks wait"} on this device, and will be sent when it is reached again.` : "";
  say(`No word from the server since ${since}. The list can be read on, as it stood then; do not close this page.${waits}`, true);
}

function take(said) {
  heard = new Date();
  kept = said.ticked;
  const open = document.getElementById("open");
  if (open) {
    open.hidden = said.open === 0;
    open.querySelector("span").textContent = said.open;
  }
  const here = [...list.querySelectorAll("[data-step]")].map((item) => item.dataset.step);
  const same = here.length === said.steps.length && here.every((step) => said.steps.includes(step));
  if (same) say("");
  else say("The sheet reads otherwise now: loom, answers or proof have changed. Load this page again.", true);
}

async function why(answer) {
  const kind = answer.headers.get("content-type") || "";
  const said = kind.includes("json") ? await answer.json() : { message: "this device may not tick any more", lines: [] };
  return `Not kept: ${said.message}. ${said.lines.join(" ")}`;
}

// Send what waits, one after the other, then look what is ticked by now; what is ticked meanwhile goes as well.
async function send() {
  if (sending) return;
  sending = true;
  let refused = "";
  try {
    do {
      for (let next; (next = Object.entries(waiting)[0]); show()) refused = (await sent(...next)) || refused;
      const answer = await fetch(ticks);
      if (answer.ok) {
        take(await answer.json());
        if (refused) say(refused, true);
      } else say(UNKNOWN, true);
    } while (Object.keys(waiting).length);
  } catch {
    lost();
  }
  sending = false;
  show();
}

async function sent(step, said) {
  const answer = await fetch(ticks, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ step, ...said }),
  });
  if (waiting[step] === said) delete waiting[step];
  store(shelf, JSON.stringify(waiting));
  if (!answer.ok) return why(answer);
  take(await answer.json());
  return "";
}

list.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (event.target.id !== "ticks") return;
  event.preventDefault();
  waiting[button.value] = { done: button.name, person: person.value };
  store(shelf, JSON.stringify(waiting));
  show();
  send();
});
const print = document.getElementById("print");
print.addEventListener("click", () => window.print());
print.disabled = false;
if (person) {
  if (person.value) store("loomproof person", person.value); // typed before this file had come
  else person.value = stored("loomproof person") || "";
  person.addEventListener("change", () => store("loomproof person", person.value));
}
try {
  waiting = JSON.parse(stored(shelf)) || {};
} catch {
  waiting = {};
}
for (const item of list.querySelectorAll("[data-step].done")) kept[item.dataset.step] = item.querySelector(".when").textContent;
show();
send();
setInterval(() => {
  if (!document.hidden) send();
}, EVERY_MS);
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) send();
});
