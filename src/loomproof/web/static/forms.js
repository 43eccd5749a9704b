// A form is sent where the server answers, and else says so: a browser's own page of errors would take the place
// of what was typed. What begins something is sent once, however often its button is pressed. No module: it stands
// in the page's head and is there before the buttons are.
const ANSWERS_MS = 5000;
let going = null; // the form that the server is ready for

document.addEventListener("submit", async (event) => {
  const { target: form, submitter: button } = event;
  if (event.defaultPrevented || form.method !== "post") return;
  if (going === form) {
    going = null;
    if (button?.matches("[data-once]")) button.dataset.sent = "yes";
    return;
  }
  event.preventDefault();
  if (form.dataset.asks || button?.dataset.sent) return;
  form.dataset.asks = "yes";
  const wrong = await unready();
  delete form.dataset.asks;
  form.querySelector(".unsent")?.remove();
  if (wrong) {
    const text = Object.assign(document.createElement("p"), { className: "wrong unsent", textContent: wrong });
    text.setAttribute("role", "alert");
    form.append(text);
    text.scrollIntoView({ block: "nearest" });
    return;
  }
  going = form;
  form.requestSubmit(button);
});

// Say why nothing can be sent now; "" where it can.
async function unready() {
  try {
    const how = { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(ANSWERS_MS) };
    const answer = await fetch("/static/icon.svg", how);
    return answer.ok ? "" : "Not sent: the server does not know this browser any more. Come in by a new address; what was typed stays here.";
  } catch {
    return "Not sent: no word from the server. What was typed stays; press again.";
  }
}

// A page that comes back from the browser's memory may send again.
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button[data-once]")) delete button.dataset.sent;
});
