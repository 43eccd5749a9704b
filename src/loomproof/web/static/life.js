// Signs of life of the browser that drives: without them a watch is ended, and its bench released.
const EVERY_MS = 500;

export function signsOfLife(runs) {
  setInterval(async () => {
    if (!runs()) return;
    try {
      const answer = await fetch("/prove/life", { method: "POST" });
      if (answer.status === 403) location.reload(); // another browser drives now, and this one watches
    } catch {
      // The page says itself that there is no word from the server.
    }
  }, EVERY_MS);
}
