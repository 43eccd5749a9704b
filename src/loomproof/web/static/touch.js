// At the probe: what is touched is shown and sounded, ends are asked for, names are typed.
import { at, drives, live, made, send } from "./live.js";
import { naming } from "./naming.js";
import { sound, soundSwitch } from "./sound.js";

const kind = live.dataset.kind;
const cells = new Map();
for (const cell of document.querySelectorAll("[data-at]")) cells.set(cell.dataset.at, cell);
const items = new Map();
const SIGNS = {
  touched: ["◉", "touched"],
  missing: ["?", "on this net by the description, not reached"],
  asked: ["➜", "touch this one"],
  known: ["✓", "is this point"],
  left: ["–", "left out"],
  chosen: ["➜", "the one that is meant"],
};
let begun = 0;
let touches = 0;
let stands = null; // whether cavities can't be pressed, as their buttons say it

const lit = new Map(); // what each cell shows that shows anything: of 2 000 only those that change are touched

function light(end, as, text = "") {
  const cell = cells.get(end);
  if (!cell || (lit.get(end) || "") === as + text) return;
  if (as) lit.set(end, as + text);
  else lit.delete(end);
  if (as) cell.dataset.lit = as;
  else delete cell.dataset.lit;
  const [sign, words] = SIGNS[as] || ["·", ""];
  cell.querySelector(".sign").textContent = sign + text;
  cell.querySelector(".hidden").textContent = words;
}

function first(lit) {
  for (const face of document.querySelectorAll("#faces .face")) {
    face.classList.toggle("lit", Boolean(face.querySelector(lit)));
  }
}

function row(tag, ...texts) {
  const line = made("tr");
  for (const text of texts) {
    const cell = made(tag, typeof text === "string" ? text : "");
    if (typeof text !== "string") cell.append(text);
    line.append(cell);
  }
  return line;
}

function colour(wire) {
  const said = made("span", wire.colour ? ` ${wire.colour} ${wire.words}` : "not described");
  if (!wire.paints.length) return said;
  const swatch = made("span", "", { className: "swatch" });
  swatch.setAttribute("aria-hidden", "true");
  for (const paint of wire.paints) {
    const stripe = made("span");
    stripe.style.background = paint;
    swatch.append(stripe);
  }
  const whole = made("span");
  whole.append(swatch, said);
  return whole;
}

function net(each) {
  const part = made("article", "", { className: "netcard" });
  const ends = made("ul", "", { className: "reached" });
  for (const { end, about } of each.ends) ends.append(made("li", about ? `◉ ${end}: ${about}` : `◉ ${end}`));
  for (const { end, about } of each.missing) {
    ends.append(made("li", `? ${end}${about ? `: ${about}` : ""} (not reached)`, { className: "missing" }));
  }
  if (each.purposes.length) part.append(made("p", `For ${each.purposes.join("; ")}`, { className: "for" }));
  part.append(ends);
  if (each.wires.length) {
    const table = made("table");
    const head = made("thead");
    head.append(row("th", "wire", "colour", "from", "to", "size"));
    const body = made("tbody");
    for (const wire of each.wires) body.append(row("td", wire.name, colour(wire), wire.a, wire.b, wire.size));
    table.append(head, body);
    const wide = made("div", "", { className: "wide", tabIndex: 0 });
    wide.setAttribute("role", "region");
    wide.setAttribute("aria-label", "Wires of the net");
    wide.append(table);
    part.append(wide);
  }
  if (each.parts.length) {
    const parts = made("ul");
    parts.append(...each.parts.map((text) => made("li", text)));
    part.append(parts);
  }
  return part;
}

function touched(touch) {
  at("nothing").hidden = Boolean(touch);
  at("touched").hidden = !touch;
  if (!touch || touch.number === touches) return;
  const fresh = touches > 0 || touch.number === 1; // a page that comes back shows the last touch and is quiet
  touches = touch.number;
  at("ends").textContent = touch.ends.join("  ·  ") || `point ${touch.bare.join(", ")}`;
  at("which").hidden = touch.ends.length < 2;
  at("doubts").replaceChildren(...touch.doubts.map((text) => made("li", text)));
  at("nets").replaceChildren(...touch.nets.map(net));
  at("aloud").textContent = touch.aloud;
  for (const end of [...lit.keys()]) light(end, "");
  for (const each of touch.nets) for (const { end } of each.missing) light(end, "missing");
  for (const end of touch.ends) light(end, "touched");
  first("[data-lit]");
  if (fresh) sound(...(touch.doubts.length ? [[880, 0.12], [330, 0.25]] : [[880, 0.15]]));
}

function before() {
  const told = [...items.values()].sort((one, other) => other.number - one.number).slice(1);
  at("before").replaceChildren(
    ...told.map((each) => made("li", [each.ends.join(", "), each.text].filter(Boolean).join(": "), { value: each.number })),
  );
}

function learning(view, changed) {
  if (changed.learned && view.learned) sound([880, 0.15]);
  const { asked } = view;
  const found = asked && view.learned && view.learned.end === asked.end; // and the probe is still there
  at("asked").textContent = !asked ? "" : found ? "Lift the probe" : `Touch ${asked.end}`;
  at("how").textContent = found || !asked ? "" : view.how;
  at("note").textContent = view.note || "";
  at("learned").textContent = view.learned ? `✓ ${view.learned.end} is point ${view.learned.point}` : "";
  if (changed.asked || changed.learned) {
    at("aloud").textContent = found ? at("learned").textContent : view.how;
  }
  for (const [end, item] of items) {
    if (item.point) light(end, "known", `${item.point}`);
    else if (item.left) light(end, "left");
  }
  if (asked && !found) light(asked.end, "asked");
  first("[data-lit=asked]");
}

document.addEventListener("told", (event) => {
  const { said, now } = event.detail;
  const view = now.view || {};
  if (now.page === "/touch" && view.kind && view.kind !== kind) {
    location.reload(); // another job at the probe
    return;
  }
  if (!kind) return;
  if (said.begun !== undefined && said.begun !== begun) {
    begun = said.begun;
    items.clear();
    touches = 0;
    for (const end of [...lit.keys()]) light(end, "");
  }
  for (const [key, item] of Object.entries(said.items || {})) {
    if (item === null) {
      items.delete(key);
      light(key, "");
    } else items.set(key, item);
  }
  at("probe").hidden = now.page !== "/touch";
  if (at("hold")) at("hold").hidden = !view.held || now.phase !== "running" || !drives;
  for (const button of document.querySelectorAll("[data-word], [data-press]")) {
    button.disabled = now.phase !== "running";
  }
  if (kind === "say") {
    touched(view.touch);
    before();
    if (said.begun === undefined && !view.touch) at("aloud").textContent = "";
  } else if (kind === "learn") {
    const fresh = said.begun === undefined ? said.view || {} : {};
    learning(view, { asked: "asked" in fresh, learned: "learned" in fresh });
  } else {
    for (const end of [...lit.keys()]) light(end, "");
    naming(view, items, { light, first, cells, drives });
  }
  if (at("held")) at("held").textContent = view.probe ? `The probe is on ${view.probe}.` : "The probe is off.";
  // What was touched last is told on, but as what is over: so it is plain that the net is not the probe's now.
  if (kind === "say") {
    at("off").hidden = view.on !== false || now.phase !== "running";
    at("touched").classList.toggle("over", view.on === false || now.phase !== "running");
  }
  if (view.held && hold()) stands = null;
  // Until it is asked for, a probe on the loom is in the way of what is looked at first.
  const out = now.phase !== "running" || !view.ready;
  if (out !== stands) {
    stands = out;
    for (const button of document.querySelectorAll("#faces button")) button.disabled = out;
  }
});

function word(said) {
  send("/prove/say", { word: said });
}

for (const button of document.querySelectorAll("[data-word]")) {
  button.addEventListener("click", () => word(button.dataset.word));
}
if (kind === "learn" && drives) {
  document.addEventListener("keydown", (event) => {
    if (!at("keys").checked || event.target.matches("input:not([type=checkbox]), select, textarea") || event.ctrlKey || event.altKey || event.metaKey) return;
    const said = { u: "undo", s: "skip", d: "done" }[event.key.toLowerCase()];
    if (said) word(said);
  });
}
if (kind) soundSwitch(at("sound"));

// A simulated bench: pressing a cavity holds its probe there.
function hold() {
  if (!drives || document.querySelector("#faces button")) return false;
  for (const [end, cell] of cells) {
    const press = made("button", "", { type: "button" });
    press.append(...cell.childNodes);
    press.addEventListener("click", () => send("/prove/say", { probe: end }));
    cell.append(press);
  }
  at("lift").addEventListener("click", () => send("/prove/say", { probe: null }));
  return true;
}
