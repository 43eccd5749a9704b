// Looking at a loom: a wire that is pointed at, gone to or tapped lights its net. Names are only ever compared
// or set as text; none becomes part of a selector or of markup.
const at = (id) => document.getElementById(id);
const table = at("wires");
const drawing = at("drawing");
const svg = drawing.querySelector("svg");
const nets = JSON.parse(table.dataset.nets);
const rows = new Map();
const byNet = new Map();
for (const row of table.tBodies[0].rows) {
  const { wire, net } = row.dataset;
  rows.set(wire, row);
  byNet.set(net, [...(byNet.get(net) || []), wire]);
}
const drawn = new Map(); // wire -> what stands for it in the drawing
for (const part of svg.querySelectorAll("[data-wire]")) {
  drawn.set(part.dataset.wire, [...(drawn.get(part.dataset.wire) || []), part]);
}
const plugs = new Map();
const cavityAt = new Map(); // "X1:2" -> its cavity on a face
const wiresAt = new Map(); // "X1:2" -> its wires
for (const plug of document.querySelectorAll(".plug")) {
  plugs.set(plug.dataset.connector, plug);
}
for (const [wire, row] of rows) {
  const connectors = JSON.parse(row.dataset.connectors);
  const cavities = JSON.parse(row.dataset.cavities);
  JSON.parse(row.dataset.ends).forEach((end, index) => {
    wiresAt.set(end, [...(wiresAt.get(end) || []), wire]);
    cavityAt.set(end, { connector: connectors[index], cavity: cavities[index] });
  });
}
const faceParts = new Map(); // connector -> cavity -> its part of the face
for (const [connector, plug] of plugs) {
  const found = new Map();
  for (const part of plug.querySelectorAll("[data-cavity]")) found.set(part.dataset.cavity, part);
  faceParts.set(connector, found);
}

let pinned = null;
const hint = at("said").textContent;

function words(wire) {
  const row = rows.get(wire);
  const [name, colour, section, from, to, , circuit] = [...row.cells].map((cell) =>
    [...cell.childNodes]
      .map((part) => part.textContent.trim())
      .filter(Boolean)
      .join(", "),
  );
  const ends = nets[row.dataset.net] || [];
  const others = byNet.get(row.dataset.net).filter((each) => each !== wire);
  const rest = others.length ? `, with ${others.length > 1 ? "wires" : "wire"} ${others.join(", ")}` : "";
  return `${name}: ${colour}; ${section}; from ${from} to ${to}; circuit: ${circuit}.\nIts net: ${ends.join(", ")}${rest}.`;
}

function show(wire) {
  for (const lit of document.querySelectorAll(".lit")) lit.classList.remove("lit", "picked");
  for (const plug of plugs.values()) {
    plug.classList.remove("lighted", "dimmed");
    plug.querySelector(".lit-ends").textContent = "";
  }
  svg.classList.toggle("lighting", wire !== null);
  if (wire === null) {
    at("said").textContent = hint;
    return;
  }
  const net = rows.get(wire).dataset.net;
  for (const each of byNet.get(net)) {
    rows.get(each).classList.add("lit");
    for (const part of drawn.get(each) || []) part.classList.add("lit");
  }
  rows.get(wire).classList.add("picked");
  for (const part of drawn.get(wire) || []) part.classList.add("picked");
  const reached = new Map();
  for (const end of nets[net] || []) {
    const place = cavityAt.get(end);
    const part = place && faceParts.get(place.connector)?.get(place.cavity);
    if (!part) continue;
    part.classList.add("lit");
    reached.set(place.connector, [...(reached.get(place.connector) || []), place.cavity]);
  }
  for (const [connector, plug] of plugs) {
    const here = reached.get(connector);
    plug.classList.add(here ? "lighted" : "dimmed");
    if (here) plug.querySelector(".lit-ends").textContent = `▸ lit: ${here.join(", ")}`;
  }
  at("said").textContent = words(wire);
}

// Faces that are lit come first, but never move away from under a finger that points at one.
const faces = document.querySelector(".plugs");
function pin(wire, onFace = false) {
  pinned = wire;
  if (!onFace) faces.classList.toggle("sorted", wire !== null);
  for (const row of rows.values()) {
    row.querySelector(".pick").setAttribute("aria-pressed", String(row.dataset.wire === wire));
  }
  show(wire);
}

function wireOf(target) {
  const part = target.closest?.("[data-wire]");
  if (part && rows.has(part.dataset.wire)) return part.dataset.wire;
  const cavity = target.closest?.("[data-cavity]");
  const plug = cavity?.closest(".plug");
  if (!plug) return null;
  for (const [end, place] of cavityAt) {
    if (place.connector === plug.dataset.connector && place.cavity === cavity.dataset.cavity) {
      const wires = wiresAt.get(end);
      return wires.includes(pinned) ? pinned : wires[0];
    }
  }
  return null;
}

document.addEventListener("pointerover", (event) => {
  if (event.pointerType === "touch") return; // a tap picks
  const wire = wireOf(event.target);
  if (wire !== null) show(wire);
});
document.addEventListener("pointerout", (event) => {
  if (event.pointerType !== "touch" && wireOf(event.target) !== null) show(pinned);
});
document.addEventListener("focusin", (event) => {
  const wire = wireOf(event.target);
  if (wire !== null) show(wire);
});
document.addEventListener("focusout", (event) => {
  if (wireOf(event.target) !== null) show(pinned);
});
document.addEventListener("click", (event) => {
  const wire = wireOf(event.target);
  if (wire === null) return;
  pin(wire === pinned && event.target.closest(".pick") ? null : wire, Boolean(event.target.closest(".plug")));
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") pin(null);
});

// The drawing is one stop of the keyboard; arrow keys go from wire to wire in it, and + and − size it.
const order = [...rows.keys()].filter((wire) => drawn.has(wire));
function step(by) {
  const now = order.indexOf(pinned);
  const next = order.at(now < 0 ? (by > 0 ? 0 : -1) : (now + by + order.length) % order.length);
  if (next === undefined) return;
  pin(next);
  drawn.get(next)[0].scrollIntoView({ block: "nearest", inline: "nearest" });
}
drawing.addEventListener("keydown", (event) => {
  const steps = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };
  if (event.key in steps) {
    event.preventDefault();
    step(steps[event.key]);
  } else if (event.key === "+" || event.key === "=") {
    size(width * 1.25);
  } else if (event.key === "-") {
    size(width * 0.8);
  }
});

const full = svg.viewBox.baseVal.width;
const tall = svg.viewBox.baseVal.height;
let width = full;
function size(to) {
  const middle = [drawing.scrollLeft + drawing.clientWidth / 2, drawing.scrollTop + drawing.clientHeight / 2];
  const before = width;
  width = Math.min(Math.max(to, 120), full * 4);
  svg.setAttribute("width", width);
  svg.setAttribute("height", (width * tall) / full);
  drawing.scrollLeft = (middle[0] * width) / before - drawing.clientWidth / 2;
  drawing.scrollTop = (middle[1] * width) / before - drawing.clientHeight / 2;
}
for (const button of document.querySelectorAll("[data-zoom]")) {
  button.addEventListener("click", () => {
    const by = button.dataset.zoom;
    if (by === "fit") size(Math.min(drawing.clientWidth, full));
    else if (by === "1") size(full);
    else size(width * Number(by));
  });
}
// Letters that nobody can read show nothing: on a narrow screen the drawing begins larger and is moved about.
size(Math.min(full, Math.max(drawing.clientWidth, full * 0.6)));
drawing.scrollTo(0, 0);

// Searching: of a cavity its name or end as it is written, of everything else a part of it, in any case.
function fits(row, said, where) {
  const part = (name) => [...row.querySelectorAll(name)].map((cell) => cell.textContent.toLowerCase());
  const ends = JSON.parse(row.dataset.ends);
  const has = {
    wire: () => row.dataset.wire.toLowerCase().includes(said),
    colour: () => part(".colour").some((text) => text.includes(said)),
    circuit: () => part(".circuit").some((text) => text.includes(said)),
    connector: () =>
      JSON.parse(row.dataset.connectors).some((name) => name.toLowerCase().includes(said)) ||
      part(".end span").some((text) => text.includes(said)),
    cavity: () =>
      ends.some((end) => end.toLowerCase() === said) ||
      JSON.parse(row.dataset.cavities).some((name) => name.toLowerCase() === said),
  };
  return where === "anything" ? Object.values(has).some((each) => each()) : has[where]();
}
function find() {
  const said = at("words").value.trim().toLowerCase();
  const found = [];
  for (const [wire, row] of rows) {
    row.hidden = Boolean(said) && !fits(row, said, at("in").value);
    if (said && !row.hidden) found.push(wire);
    for (const part of drawn.get(wire) || []) part.classList.toggle("away", row.hidden);
  }
  at("hits").textContent = said ? `${found.length} of ${rows.size} wires` : "";
  if (!said) return;
  pin(found.length ? found[0] : null);
  drawn.get(found[0])?.[0].scrollIntoView({ block: "nearest", inline: "nearest" });
}
at("words").addEventListener("input", find);
at("in").addEventListener("change", find);
at("find").addEventListener("submit", (event) => {
  event.preventDefault();
  if (order.length) drawing.focus();
});
for (const button of document.querySelectorAll("#find button, .pick, [data-zoom]")) button.disabled = false;
if (at("words").value) find(); // typed before this file had come
