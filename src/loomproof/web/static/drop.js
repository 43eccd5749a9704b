// Files that are dropped on a form go into its field of files, and the form is sent as if they had been picked.
// No module: it stands in the page's head, since a file that is dropped before it is there takes the page's place.
const formUnder = (event) => event.composedPath().find((node) => node.dataset?.drop !== undefined);

document.addEventListener("dragover", (event) => {
  event.preventDefault();
  formUnder(event)?.classList.add("over");
});
document.addEventListener("dragleave", (event) => formUnder(event)?.classList.remove("over"));
document.addEventListener("drop", async (event) => {
  event.preventDefault(); // elsewhere than on a form nothing comes of it
  const form = formUnder(event);
  if (!form) return;
  form.classList.remove("over");
  const files = await dropped(event.dataTransfer);
  if (!files.length) return;
  const held = new DataTransfer();
  for (const file of files) held.items.add(file);
  const field = form.querySelector("input[type=file]");
  field.files = held.files;
  form.requestSubmit();
});

const MOST = 200; // so many files of a folder are looked at

async function dropped(data) {
  const entries = [...data.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return [...data.files];
  const files = [];
  for (const entry of entries) {
    if (entry.isFile) files.push(await one(entry));
    else files.push(...(await inside(entry)));
  }
  return files.slice(0, MOST);
}

const one = (entry) => new Promise((found, failed) => entry.file(found, failed));

async function inside(folder) {
  const reader = folder.createReader();
  const found = [];
  while (found.length < MOST) {
    const some = await new Promise((read, failed) => reader.readEntries(read, failed));
    if (!some.length) break;
    for (const entry of some) if (entry.isFile) found.push(await one(entry));
  }
  return found;
}
