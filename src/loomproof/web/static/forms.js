// A form that begins something is sent once, however often its button is pressed.
for (const button of document.querySelectorAll("button[data-once]")) {
  button.form.addEventListener("submit", (event) => {
    if (event.submitter !== button) return;
    if (button.dataset.sent) event.preventDefault();
    button.dataset.sent = "yes";
  });
}
// A page that comes back from the browser's memory may send again.
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button[data-once]")) delete button.dataset.sent;
});
