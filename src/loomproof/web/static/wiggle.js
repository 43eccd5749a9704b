// A loom that is watched while it is moved: nets as steady lines, each break and touch a mark that stays.
import { at, drives, made, send } from "./live.js";
import { sound, soundSwitch } from "./sound.js";

const TONES = { break: [[660, 0.08], [330, 0.14]], touch: [[330, 0.08], [660, 0.14]], join: [[440, 0.2]] };
const LETTERS = { break: "B", touch: "T", join: "J" };
const QUIET_MS = 150;
const marks = new Map(); // by number: the row of the list, and what stands on the lanes
let lanes = [];
let view = {};
let running = false;
let begun = 0;
let ahead_s = 0;
let sounded = 0;

const seconds = (value) => `${value.toFixed(value < 100 ? 2 : 1)} s`;

function nets() {
  lanes = view.nets.map((net) => {
    const line = made("div", "", { className: "lane" });
    const name = made("span", net.ends, { className: "name" });
    name.append(made("small", net.wires));
    const track = made("span", "", { className: "track" });
    const told = made("span", "steady", { className: "told" });
    line.append(name, track, told);
    return { line, track, told, count: 0 };
  });
  at("nets").replaceChildren(...lanes.map((lane) => lane.line));
}

function places() {
  if (!drives) return;
  const names = ["nothing named", ...(view.places || [])];
  if (at("places").childElementCount !== names.length) {
    at("places").replaceChildren(
      ...names.map((name, digit) => {
        const button = made("button", `${digit} ${name}`, { type: "button" });
        button.addEventListener("click", () => choose(digit));
        return button;
      }),
    );
  }
  for (const [digit, button] of [...at("places").children].entries()) {
    button.setAttribute("aria-pressed", String(digit === view.digit));
    button.disabled = !running;
  }
}

function choose(digit) {
  if (digit <= (view.places || []).length) send("/prove/say", { digit });
}

function netOf(mark) {
  const named = ({ ends, wires }) => (wires ? `${ends} (${wires})` : ends);
  return mark.nets.map((net) => named(view.nets[net])).join(" and ");
}

function shown(mark) {
  const known = marks.get(mark.number);
  const row = known ? known.row : made("tr");
  const texts = [
    `${mark.number}`,
    mark.change,
    seconds(mark.at_s),
    mark.length || "not over",
    mark.ends,
    netOf(mark),
    mark.place || "not said",
    mark.likely,
  ];
  row.replaceChildren(...texts.map((text) => made("td", text)));
  row.dataset.change = mark.change;
  if (!known) at("marks").prepend(row);
  const before = known ? known.on : [];
  for (const each of before) each.remove();
  const on = mark.nets.map((net) => {
    const lane = lanes[net];
    const each = made("span", LETTERS[mark.change], { className: `mark ${mark.change}` });
    each.title = `${mark.change} ${mark.number}, ${mark.length || "not over"}`;
    each.style.left = `${Math.min(100, (100 * mark.at_s) / view.seconds)}%`;
    lane.track.append(each);
    lane.line.dataset.seen = "yes";
    return each;
  });
  marks.set(mark.number, { row, on, mark });
}

function told(net) {
  const found = [...marks.values()].filter(({ mark }) => mark.nets.includes(net));
  const open = found.some(({ mark }) => !mark.length);
  lanes[net].told.textContent = found.length ? `${found.length}${open ? ", not over" : ""}` : "steady";
}

function latest(mark) {
  const place = mark.place ? `, ${mark.place} being moved` : "";
  at("latest").textContent = `${mark.change} ${mark.number}: ${mark.ends}${mark.length ? `, ${mark.length}` : ""}`;
  at("likely").textContent = `Net ${netOf(mark)}. Likeliest: ${mark.likely}${place}`;
}

function summed(ending) {
  at("sum").hidden = !ending || !ending.table.length;
  at("files").hidden = !ending;
  if (!ending || !ending.table.length) return;
  const [heads, ...rows] = ending.table;
  const head = made("thead");
  const top = made("tr");
  top.append(...heads.map((text) => made("th", text, { scope: "col" })));
  head.append(top);
  const body = made("tbody");
  for (const texts of rows) {
    const row = made("tr");
    row.append(...texts.map((text) => made("td", text)));
    body.append(row);
  }
  at("table").replaceChildren(head, body);
}

function clock() {
  if (!view.began_s || !running) return;
  const gone_s = Math.min(view.seconds, Math.max(0, performance.now() / 1000 + ahead_s - view.began_s));
  at("time").textContent = `${Math.floor(gone_s)} of ${view.seconds} s`;
  at("nets").style.setProperty("--now", `${(100 * gone_s) / view.seconds}%`);
}

document.addEventListener("told", (event) => {
  const { said, now } = event.detail;
  const mine = now.page === "/wiggle";
  at("watch").hidden = !mine || !(now.view || {}).nets;
  if (!mine) return;
  const first = said.begun !== undefined;
  if (first && said.begun !== begun) {
    begun = said.begun;
    marks.clear();
    at("marks").replaceChildren();
    at("latest").textContent = "Nothing seen yet";
    at("likely").textContent = "";
    view = {};
  }
  running = now.phase === "running";
  for (const id of ["time", "latest", "likely", "moves"]) if (at(id)) at(id).hidden = !running; // what is of now
  ahead_s = said.clock_s - performance.now() / 1000;
  const fresh = now.view && now.view.nets && !view.nets;
  view = now.view;
  if (fresh) nets();
  places();
  const changed = Object.values(said.items || {}).filter(Boolean);
  for (const [key, item] of Object.entries(said.items || {})) if (!item) gone(Number(key));
  const began = changed.filter((mark) => !marks.has(mark.number));
  changed.sort((one, other) => one.number - other.number).forEach(shown);
  for (const net of new Set(changed.flatMap((mark) => mark.nets))) told(net);
  if (changed.length) {
    const last = changed.at(-1);
    latest(last);
    at("aloud").textContent = `${at("latest").textContent}. ${at("likely").textContent}`;
    if (began.length && !first && performance.now() - sounded > QUIET_MS) {
      sounded = performance.now();
      sound(...TONES[began.at(-1).change]);
    }
  }
  const left = view.marks > marks.size ? `; the last ${marks.size} are shown` : "";
  at("count").textContent = view.marks ? `${view.marks} seen${left}` : "None so far.";
  summed(now.ending);
  clock();
});

function gone(number) {
  const known = marks.get(number);
  if (!known) return;
  known.row.remove();
  for (const each of known.on) each.remove();
  marks.delete(number);
}

setInterval(clock, 250);
soundSwitch(at("sound"));
const only = () => at("nets").classList.toggle("only", at("only").checked);
at("only").addEventListener("change", only);
only(); // a browser may have kept the tick of the page before
if (drives) {
  document.addEventListener("keydown", (event) => {
    const plain = !event.ctrlKey && !event.altKey && !event.metaKey;
    if (running && at("keys").checked && plain && /^[0-9]$/.test(event.key)) choose(Number(event.key));
  });
}
