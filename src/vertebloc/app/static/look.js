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
    canvas.hidden = true;
  }
});
window.addEventListener("afterprint", () => {
  for (const copy of document.querySelectorAll("img.printed-copy")) copy.remove();
  for (const canvas of document.querySelectorAll(".picture canvas")) canvas.hidden = false;
});
