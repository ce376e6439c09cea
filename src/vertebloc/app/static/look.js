// Numbers in the plan's paragraph can be dragged sideways: one step for every four pixels.
document.addEventListener("pointerdown", (down) => {
  const field = down.target.closest?.("input[data-drag]");
  if (!field || document.activeElement === field || field.disabled) return;
  const step = Number(field.step) || 0.5;
  const from = Number(field.value);
  let moved = false;
  const move = (event) => {
    const steps = Math.trunc((event.clientX - down.clientX) / 4);
    if (!moved && steps === 0) return;
    moved = true;
    event.preventDefault();
    const low = field.min === "" ? -Infinity : Number(field.min);
    const high = field.max === "" ? Infinity : Number(field.max);
    field.value = Math.min(high, Math.max(low, from + steps * step)).toFixed(1);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const up = () => {
    window.removeEventListener("pointermove", move);
    window.removeEventListener("pointerup", up);
    window.removeEventListener("pointercancel", up);
    if (moved) {
      field.blur();
      field.dispatchEvent(new Event("change", { bubbles: true }));
    }
  };
  window.addEventListener("pointermove", move);
  window.addEventListener("pointerup", up);
  window.addEventListener("pointercancel", up);
});

// Paper shows the picture as it stands: a canvas on the graphics card prints blank.
window.addEventListener("beforeprint", () => {
  for (const canvas of document.querySelectorAll(".picture canvas")) {
    canvas.dispatchEvent(new CustomEvent("draw-now"));
    const copy = document.createElement("img");
    copy.className = "printed-copy";
    copy.alt = "";
    copy.src = canvas.toDataURL("image/png");
    copy.style.cssText = canvas.style.cssText;
    canvas.after(copy);
    const { clientWidth, clientHeight, style } = canvas.parentElement;
    if (clientHeight) style.setProperty("--drawn", clientWidth / clientHeight); // never stretched
    canvas.hidden = true;
  }
});
window.addEventListener("afterprint", () => {
  for (const copy of document.querySelectorAll("img.printed-copy")) copy.remove();
  for (const canvas of document.querySelectorAll(".picture canvas")) canvas.hidden = false;
});

// A card is made anew after each change: what was unfolded, which fate was chosen and where the
// keyboard stood, and how far the cards were scrolled, is kept here and given back.
const kept = { unfolded: new Set(), brush: "piecemeal", focus: "", scrolled: 0, page: "" };
document.addEventListener("scroll", (event) => {
  if (event.target.matches?.("aside.side")) kept.scrolled = event.target.scrollTop;
}, true);
document.addEventListener("toggle", (event) => {
  const name = event.target.dataset?.fold;
  if (!name) return;
  if (event.target.open) kept.unfolded.add(name);
  else if (event.target.isConnected) kept.unfolded.delete(name);
}, true);
document.addEventListener("focusin", (event) => {
  kept.focus = event.target.closest?.("[data-keep]")?.dataset.keep || "";
});
function giveBack() {
  const side = document.querySelector("aside.side");
  if (kept.page !== location.pathname) {
    Object.assign(kept, { page: location.pathname, scrolled: 0 });
    typing.clear();
  } else if (side && side.scrollTop < kept.scrolled) side.scrollTop = kept.scrolled;
  for (const fold of document.querySelectorAll("details[data-fold]:not([open])")) {
    if (kept.unfolded.has(fold.dataset.fold) && !fold.dataset.seen) fold.open = true;
    fold.dataset.seen = "1";
  }
  for (const choice of document.querySelectorAll(`input[name=brush][value="${kept.brush}"]`)) {
    if (!choice.checked) choice.checked = true;
  }
  giveBackTyped();
  if (kept.focus && document.activeElement === document.body) {
    document.querySelector(`[data-keep="${CSS.escape(kept.focus)}"]`)?.focus({ preventScroll: true });
  }
}
// What is drawn anew at each step of a drag holds nothing to give back, and asking costs a layout.
new MutationObserver((changes) => {
  if (!changes.every(({ target }) => target.closest?.(".viewer-stage, .redrawn"))) giveBack();
}).observe(document, { childList: true, subtree: true });
document.addEventListener("change", (event) => {
  if (event.target.name === "brush") kept.brush = event.target.value;
});

// When a choice was last touched by a key: it may not be finished yet.
document.addEventListener("keydown", (event) => {
  if (event.target.matches?.("select")) event.target.keyed = Date.now();
}, true);

// Parts of the arch take the chosen fate when the pointer sweeps over them, or at Enter.
const partAt = (x, y) => document.elementFromPoint(x, y)?.closest("[data-arch]");
function tellSwept(svg, parts) {
  const detail = { fate: kept.brush, parts: [...parts].join("|") };
  svg.dispatchEvent(new CustomEvent("swept", { bubbles: true, detail }));
}
document.addEventListener("pointerdown", (down) => {
  const first = down.target.closest?.("[data-arch]");
  if (!first || down.button !== 0) return;
  const svg = first.closest("svg"), swept = new Set();
  const take = (part) => {
    if (!part || part.closest("svg") !== svg) return;
    swept.add(part.dataset.arch);
    part.classList.add("swept");
  };
  take(first);
  const move = (event) => take(partAt(event.clientX, event.clientY));
  const end = (event) => {
    window.removeEventListener("pointermove", move);
    window.removeEventListener("pointerup", end);
    window.removeEventListener("pointercancel", end);
    if (event.type === "pointerup") tellSwept(svg, swept);
    else for (const part of svg.querySelectorAll(".swept")) part.classList.remove("swept");
  };
  window.addEventListener("pointermove", move);
  window.addEventListener("pointerup", end);
  window.addEventListener("pointercancel", end);
});
document.addEventListener("keydown", (event) => {
  const part = event.target.closest?.("[data-arch]");
  if (!part || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  tellSwept(part.closest("svg"), [part.dataset.arch]);
});

// A card that is made anew while somebody types: what was typed and not told yet is given back.
const typing = new Map(); // by name: { value, told: when, or 0 }
const typedIn = (event) => event.target.closest?.('input[type="text"][data-keep]');
document.addEventListener("input", (event) => {
  const field = typedIn(event);
  if (field) typing.set(field.dataset.keep, { value: field.value, told: 0 });
});
document.addEventListener("change", (event) => {
  const field = typedIn(event);
  if (field) typing.set(field.dataset.keep, { value: field.value, told: Date.now() });
}, true);
document.addEventListener("focusout", (event) => { // a value given back is no change to the browser
  const field = typedIn(event), typed = field && typing.get(field.dataset.keep);
  if (field?.isConnected && typed && !typed.told) field.dispatchEvent(new Event("change", { bubbles: true }));
});
const CROSSING_MS = 400; // a card made before the server heard may still be on its way
function giveBackTyped() {
  for (const field of document.querySelectorAll('input[type="text"][data-keep]')) {
    if (field.dataset.met) continue;
    field.dataset.met = "1";
    const typed = typing.get(field.dataset.keep);
    if (!typed || (typed.told && Date.now() - typed.told > CROSSING_MS)) typing.delete(field.dataset.keep);
    else if (field.value !== typed.value) field.value = typed.value;
  }
}
