// An unknown loom's ends are named: the line is typed here and kept by the job, which says what it means.
import { at, drives, made, send } from "./live.js";
import { sound } from "./sound.js";

let sent = 0; // the number of the last thing that was said to the job
let waits = Promise.resolve(); // one after another: what is typed must come as it was typed
let touches = null;
let chosen = "";

function say(said) {
  sent += 1;
  const numbered = { ...said, number: sent };
  waits = waits.then(() => send("/prove/say", numbered));
}

// What the job makes of the line (an answer clears it, a word completes it) comes into the field once the job
// has heard all that was said to it.
function adopt(shown, heard) {
  if (touches === null) sent = Math.max(sent, heard);
  const field = at("typed");
  if (heard < sent || shown.text.trim() === field.value.trim()) return;
  field.value = shown.text.trimStart();
}

// What says the same as before stays: a button that is being pressed, or has the focus, is not put anew.
const drawn = new Map();
function same(id, said) {
  const text = JSON.stringify(said);
  if (drawn.get(id) === text) return true;
  drawn.set(id, text);
  return false;
}

function ends(shown) {
  if (same("net", shown.ends)) return;
  at("net").replaceChildren(
    ...shown.ends.map((each, index) => {
      const line = made("li", "", { className: each.chosen ? "chosen" : "" });
      const told = [each.nameless ? "nameless" : "", each.ohms, each.known].filter(Boolean).join(", ");
      line.append(made("strong", `${each.chosen ? "➜ " : ""}${each.name}`), made("span", told ? ` ${told}` : ""));
      if (drives && !each.chosen && shown.ends.length > 1) {
        const button = made("button", "It is this one", { type: "button", className: "quiet" });
        button.setAttribute("aria-label", `It is ${each.name}`);
        const now = shown.ends.findIndex((other) => other.chosen);
        const steps = (index - now + shown.ends.length) % shown.ends.length;
        button.addEventListener("click", () => say({ press: "other", times: steps }));
        line.append(" ", button);
      }
      return line;
    }),
  );
}

function offers(shown) {
  if (same("offers", shown.offers)) return;
  at("may").hidden = !shown.offers.length;
  at("offers").replaceChildren(
    ...shown.offers.map((offer) => {
      const line = made("li");
      const button = made("button", offer.says, { type: "button" });
      button.addEventListener("click", () => say({ press: "take", times: Number(offer.key) }));
      line.append(button, made("span", ` ${offer.reason}`));
      return line;
    }),
  );
}

function candidates(shown) {
  if (same("candidates", shown.candidates)) return;
  at("candidates").replaceChildren(
    ...shown.candidates.map(([word, meaning], index) => {
      const button = made("button", meaning ? `${word} (${meaning})` : word, { type: "button", className: "quiet" });
      button.addEventListener("click", () => {
        say({ line: at("typed").value, press: "complete", times: index + 1 });
        at("typed").focus();
      });
      return button;
    }),
  );
}

export function naming({ shown, heard }, items, { light, first, cells }) {
  for (const [end, item] of items) {
    const cell = cells.get(end);
    if (cell) called(cell, end, item.name);
  }
  if (!shown) return;
  at("heading").textContent = shown.heading;
  at("parts").replaceChildren(...shown.parts.map((text) => made("li", text)));
  at("stands").textContent = shown.said;
  at("stands").classList.toggle("refused", shown.refused);
  at("named").textContent = shown.progress;
  at("nameless").textContent = shown.nameless.replace(" Ctrl-D ends.", "");
  ends(shown);
  for (const each of shown.ends) light(each.end, each.chosen ? "chosen" : "touched");
  first("[data-lit]");
  if (drives) {
    at("asks").textContent = shown.question;
    at("meant").textContent = shown.meant;
    offers(shown);
    candidates(shown);
    adopt(shown, heard);
  }
  const meant = shown.ends.find((each) => each.chosen);
  if (touches !== null && shown.touches > touches) sound([880, 0.15]);
  if (touches !== null && (shown.touches > touches || (meant && meant.name !== chosen))) {
    at("aloud").textContent = [shown.heading, ...shown.ends.map((each) => each.name), shown.question].join(". ");
  }
  touches = shown.touches;
  chosen = meant ? meant.name : "";
}

function called(cell, end, name) {
  const label = cell.querySelector(".name") || made("span", "", { className: "name" });
  label.textContent = name === end ? "" : name;
  if (!label.isConnected) cell.querySelector(".cavity").after(label);
}

const line = document.getElementById("line");
if (line) {
  at("typed").addEventListener("input", () => {
    say({ line: at("typed").value });
  });
  line.addEventListener("submit", (event) => {
    event.preventDefault();
    say({ line: at("typed").value, press: "enter" });
  });
  for (const button of line.querySelectorAll("[data-press]")) {
    button.addEventListener("click", () => say({ press: button.dataset.press }));
  }
}
