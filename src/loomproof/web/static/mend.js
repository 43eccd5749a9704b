// A look-first step that is ticked is kept with the run; what the server says of it stands beside it.
for (const box of document.querySelectorAll("[data-look]")) {
  box.addEventListener("change", async () => {
    const said = box.closest("li").querySelector(".when");
    const wanted = box.checked;
    box.disabled = true;
    let answer = null;
    try {
      const sent = await fetch(box.dataset.look, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify({ finding: box.dataset.finding, place: box.value, done: wanted ? "yes" : "no" }),
      });
      answer = await sent.json();
      if (!sent.ok) throw new Error(answer.message);
      said.textContent = answer.ticked;
    } catch (error) {
      box.checked = !wanted;
      said.textContent = answer?.message || "Not kept: no word from the server.";
    }
    box.disabled = false;
    box.focus();
  });
  box.disabled = false; // a tick before this file had come would not have been kept
}
for (const button of document.querySelectorAll("[data-print]")) {
  button.addEventListener("click", () => window.print());
  button.disabled = false;
}
