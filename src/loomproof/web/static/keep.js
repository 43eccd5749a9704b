// The shelf: looms are found while one types; a file that is dropped on a form is sent with it. What comes from
// the server is only ever set as text.
const at = (id) => document.getElementById(id);
const made = (tag, text = "", more = {}) => Object.assign(document.createElement(tag), { textContent: text }, more);

const heads = [...at("looms").tHead.rows[0].cells].map((cell) => cell.textContent);

function cells(row) {
  const link = (href, text, name = "") => {
    const found = made("a", text, { href });
    if (name) found.ariaLabel = name;
    return found;
  };
  const run = `/runs/${encodeURIComponent(row.run)}`;
  const head = made("th", "", { scope: "row" });
  head.append(link(`/kept/loom?${row.query}`, row.loom));
  const verdict = made("td", row.checked ? row.verdict : "checking its seal", { className: row.style });
  if (row.simulated) verdict.append(" ", made("small", "(simulated bench)"));
  const last = made("td");
  last.append(link(run, row.run_text));
  const papers = made("td");
  papers.append(
    link(`${run}/certificate`, "certificate", `Certificate of ${row.run}`),
    " ",
    link(`${run}/label`, "label", `Label of ${row.run}`),
  );
  const plain = ["ended", "person", "records"].map((name) => made("td", row[name]));
  const found = [verdict, ...plain, last, papers];
  found.forEach((cell, index) => {
    cell.dataset.head = heads[index + 1];
  });
  return [head, ...found];
}

let asked = 0;
async function find() {
  const mine = ++asked;
  // At once what is found by its name, then what it says: a seal that was not checked yet takes its time.
  for (const check of ["", "yes"]) {
    const words = new URLSearchParams({ words: at("words").value, check });
    const answer = await fetch(`/kept?${words}`).catch(() => null);
    if (mine !== asked) return; // more was typed meanwhile
    if (!answer) {
      at("hits").textContent = "Not searched: no word from the server. Enter searches again.";
      return;
    }
    if (!answer.ok) {
      at("hits").textContent = "The shelf could not be searched. Load the page again.";
      return;
    }
    const said = await answer.json();
    if (mine !== asked) return;
    show(said);
    if (said.looms.every((row) => row.checked)) return;
  }
}
function show(said) {
  at("hits").textContent = said.said;
  at("looms").tBodies[0].replaceChildren(
    ...said.looms.map((row) => {
      const line = made("tr");
      line.append(...cells(row));
      return line;
    }),
  );
}
at("words").addEventListener("input", find);
at("find").addEventListener("submit", (event) => {
  event.preventDefault();
  find();
});
// What was typed before this file had come is looked for as well.
if (at("words").value !== at("words").defaultValue) find();
