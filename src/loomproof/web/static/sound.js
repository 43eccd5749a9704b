// A short tone, so that eyes can stay at the probe. It can be switched off, and a browser may not allow it yet.
const KEPT = "loomproof-sound";
let context = null;
let on = true;
try {
  on = localStorage.getItem(KEPT) !== "off";
} catch {
  // A browser that keeps nothing: the sound is on.
}

export function sound(...tones) {
  if (!on) return;
  context ||= new AudioContext();
  if (context.state === "suspended") context.resume();
  let at = context.currentTime;
  for (const [hertz, seconds] of tones) {
    const tone = context.createOscillator();
    const loud = context.createGain();
    tone.frequency.value = hertz;
    loud.gain.setValueAtTime(0.2, at);
    loud.gain.exponentialRampToValueAtTime(0.001, at + seconds);
    tone.connect(loud).connect(context.destination);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds;
  }
}

export function soundSwitch(button) {
  const show = () => {
    button.textContent = on ? "♪ Sound is on" : "– Sound is off";
    button.setAttribute("aria-pressed", String(on));
  };
  button.addEventListener("click", () => {
    on = !on;
    try {
      localStorage.setItem(KEPT, on ? "on" : "off");
    } catch {
      // It holds for this page then.
    }
    show();
    sound([880, 0.1]);
  });
  show();
}
