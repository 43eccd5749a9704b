// A form that begins something is sent once, however often its button is pressed. No module: it stands in the
// page's head and is there before the buttons are.
document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!button?.matches("[data-once]")) return;
  if (button.dataset.sent) event.preventDefault();
  button.dataset.sent = "yes";
});
// A page that comes back from the browser's memory may send again.
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button[data-once]")) delete button.dataset.sent;
});
