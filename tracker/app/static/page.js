// The page library puts everything into one main; the page has a header, a main and a footer. On a
// narrow screen the row of steps begins with the one that is shown.
const arranged = () => {
  const outer = document.querySelector("main.q-page");
  if (!outer) return setTimeout(arranged, 20);
  outer.setAttribute("role", "presentation");
  document.querySelector(".steps [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
};
arranged();

// The keyboard takes the row along; browsers leave a step cut off that is partly seen.
document.addEventListener("focusin", (event) => {
  // A finger's focus comes before its click: what moved away from under it would not be clicked.
  if (!event.target.matches?.(":focus-visible")) return;
  event.target.closest?.(".steps a")?.scrollIntoView({ inline: "center", block: "nearest" });
});

// What stands there while the program does not answer: what to do, read out too.
const popup = document.getElementById("popup");
if (popup) {
  const [head, rest] = popup.querySelectorAll("span");
  popup.setAttribute("role", "alert");
  head.textContent = "The program does not answer.";
  rest.textContent = "This page continues once it does. If you ended it, start lobmeter open again and "
    + "use the link that it shows; what you entered is saved.";
}

// Whoever speaks to the machine, or touches keys by accident, switches single keys off.
const keysOff = () => localStorage.getItem("lobmeter-keys") === "off";
const sayKeys = () => {
  const button = document.getElementById("keys-switch");
  if (button) button.textContent = keysOff() ? "Switch single keys on" : "Switch single keys off";
};
document.addEventListener("click", (event) => {
  if (event.target.id !== "keys-switch") return;
  localStorage.setItem("lobmeter-keys", keysOff() ? "on" : "off");
  sayKeys();
});

// What a page tells the server before they are connected waits until they are.
window.tellServer = (name, what) => {
  if (window.did_handshake) emitEvent(name, what);
  else setTimeout(() => window.tellServer(name, what), 50);
};
window.showKeys = () => {
  sayKeys();
  document.getElementById("keys").showModal();
};

// A notice is held at the lower edge of the window: what was changed last, or has the keyboard, is
// moved out from under it.
let changed = null;
document.addEventListener("change", (event) => { changed = event.target; });
const uncover = () => {
  const notice = document.querySelector(".said-here");
  if (!notice || !notice.querySelector("p")) return;
  for (const each of [document.activeElement, changed]) {
    if (!each?.isConnected || each === document.body || notice.contains(each)) continue;
    const box = each.getBoundingClientRect(), over = notice.getBoundingClientRect();
    const hidden = box.bottom + 8 - over.top;
    if (hidden > 0 && box.top < over.bottom) window.scrollBy(0, Math.min(hidden, box.top));
  }
};
const watched = () => {
  const notices = document.querySelector(".notices");
  if (!notices) return setTimeout(watched, 20);
  new MutationObserver(() => requestAnimationFrame(uncover)).observe(notices, { childList: true });
};
watched();
document.addEventListener("focusin", () => requestAnimationFrame(uncover));

// Keys: told to the server where nobody is typing and the page has a use for them.
document.addEventListener("keydown", (event) => {
  const target = event.target;
  if (target.isContentEditable || event.isComposing || event.altKey || event.metaKey) return;
  const named = [];
  if (event.ctrlKey) named.push("Control");
  if (event.shiftKey && (event.key.length > 1 || event.ctrlKey)) named.push("Shift");
  named.push(event.ctrlKey ? event.key.toLowerCase() : event.key);
  const key = named.join("+");
  const typing = target.matches("input:not([type=checkbox]):not([type=radio]):not([type=range]), select, textarea");
  const sliding = target.matches("input[type=range]") && /^(Arrow|Home|End|Page)/.test(event.key);
  if (typing || sliding) return;
  const pressing = target.matches("button, a, summary") && (key === "Enter" || key === " ");
  if (pressing || document.querySelector("dialog[open]")) return;
  const used = (document.getElementById("main")?.dataset.keys || "").split(" ");
  if (keysOff() && !event.ctrlKey) return;
  if (!used.includes(key === " " ? "Space" : key)) return;
  event.preventDefault();
  window.tellServer("lobmeter-key", key === " " ? "Space" : key);
});
