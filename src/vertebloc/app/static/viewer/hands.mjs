// What hands and keys do to the picture and its cuts. Methods of the viewer.

import { add, laid, pulled, scale, together } from "./geometry.mjs";

export const HOME_MM_PER_PIXEL = 0.17;
const CLOSEST = 0.04, FARTHEST = 1.2, WHEEL_STEP_PX = 50;

export const hands = {
  methods: {
    grab(event, handle) {
      if (event.button !== 0) return;
      event.preventDefault();
      event.target.focus();
      this.$refs.stage.setPointerCapture(event.pointerId);
      this.held = { kind: "handle", handle, x: event.clientX, y: event.clientY, moved: false };
    },
    onDown(event) {
      if (event.button !== 0) return;
      this.$refs.stage.setPointerCapture(event.pointerId);
      if (this.isBrushing && !event.shiftKey) return this.beginSweep(event);
      if (!event.shiftKey && this.mayDraw()) {
        this.held = { kind: "stroke" };
        this.startStroke(this.under(event));
        return;
      }
      this.held = { kind: event.shiftKey ? "window" : this.isSolid ? "turn" : "pan",
        x: event.clientX, y: event.clientY };
    },
    onMove(event) {
      const held = this.held;
      if (this.outlines) this.hover = this.under(event);
      if (!held) {
        if (this.outlines) this.drawSoon(); // the tip follows the pointer
        return;
      }
      if (held.kind === "stroke") {
        this.moveStroke(event);
        return;
      }
      const dx = event.clientX - held.x, dy = event.clientY - held.y;
      if (held.kind === "handle") {
        // from where it was grabbed, so that a handle that is only touched stays where it is
        if (!held.moved && Math.hypot(dx, dy) < 2) return;
        held.moved = true;
        this.pull(held.handle, this.shifted(held.handle.lps, dx, dy), { ask: true });
        return;
      }
      if (held.kind === "brush") return this.sweepTo(event);
      held.x = event.clientX;
      held.y = event.clientY;
      if (held.kind === "pan") {
        this.centre = this.shifted(this.centre, -dx, -dy);
      } else if (held.kind === "turn") {
        this.turn(dx, dy);
      } else {
        this.changeWindow(-dy * 3, dx * 3);
      }
      this.draw();
    },
    onUp(event) {
      const held = this.held;
      this.held = null;
      if (held?.kind === "brush") this.endSweep(event);
      if (held?.kind === "stroke") this.endStroke();
      if (held?.kind === "handle" && held.moved) this.send(this.last, true);
    },
    // A place moved by so many pixels along the picture.
    shifted(point, dx, dy) {
      const { right, up } = this.axes();
      return add(point, add(scale(right, dx * this.mmPerPixel), scale(up, -dy * this.mmPerPixel)));
    },
    turn(dx, dy) {
      if (!this.solidDrawing) return;
      this.solidDrawing.turnBy(dx, dy);
      this.solidTurned = true;
    },
    changeWindow(brighter, wider) {
      const [low, high] = this.drawing.windowHu, middle = (low + high) / 2 + brighter;
      const half = Math.max(20, (high - low) / 2 + wider);
      this.drawing.windowHu = [middle - half, middle + half];
    },
    zoom(factor) { this.mmPerPixel = Math.min(FARTHEST, Math.max(CLOSEST, this.mmPerPixel * factor)); },
    onDouble() { if (!this.mayDraw()) this.home(); },
    home() {
      this.centre = this.scene.centre;
      this.mmPerPixel = HOME_MM_PER_PIXEL;
      this.solidTurned = false;
      if (this.solidDrawing) this.solidDrawing.turn.identity();
      if (this.look === "cut") this.centreOnCut();
      if (this.look === "piece") this.centreOnPiece();
      this.draw();
    },
    onWheel(event) {
      const pixels = event.deltaY * (event.deltaMode === 1 ? 17 : 1);
      if (event.ctrlKey || this.isSolid) {
        this.zoom(Math.exp(pixels * 0.0012));
      } else {
        // a mouse sends few large turns, a trackpad many small ones
        this.wheeled += pixels;
        const steps = Math.trunc(this.wheeled / WHEEL_STEP_PX);
        if (!steps) return;
        this.wheeled -= steps * WHEEL_STEP_PX;
        this.step(steps * (event.shiftKey ? 5 : 1));
      }
      this.draw();
    },
    step(count) {
      this.centre = add(this.centre, scale(this.view().toward, -count * (this.scene.step_mm || 0.5)));
    },
    onKey(event) {
      if (event.target !== this.$refs.stage || event.altKey || event.ctrlKey || event.metaKey) return;
      if (this.penKey(event)) {
        event.preventDefault();
        this.draw();
        return;
      }
      const solid = this.isSolid, pan = (dx, dy) => () => { this.centre = this.shifted(this.centre, dx, dy); };
      const turn = (dx, dy) => () => this.turn(dx, dy);
      const arrows = event.shiftKey
        ? { ArrowUp: pan(0, -20), ArrowDown: pan(0, 20), ArrowLeft: pan(-20, 0), ArrowRight: pan(20, 0) }
        : solid ? { ArrowUp: turn(0, -11), ArrowDown: turn(0, 11), ArrowLeft: turn(-11, 0), ArrowRight: turn(11, 0) }
        : { ArrowUp: () => this.step(-1), ArrowDown: () => this.step(1) };
      const done = {
        ...arrows, PageUp: () => this.step(-10), PageDown: () => this.step(10),
        "+": () => this.zoom(0.9), "=": () => this.zoom(0.9), "-": () => this.zoom(1 / 0.9),
        "[": () => this.changeWindow(25, 0), "]": () => this.changeWindow(-25, 0), Home: () => this.home(),
      }[event.key];
      if (!done) return;
      event.preventDefault();
      done();
      this.draw();
    },
    // Arrows move a handle at once; it is measured on the way if the key is held down, and counts
    // as let go when the key is.
    nudge(event, handle) {
      const { right, up } = this.axes(), mm = event.shiftKey ? 0.1 : 0.5;
      const way = { ArrowUp: up, ArrowDown: scale(up, -1), ArrowRight: right, ArrowLeft: scale(right, -1) }[event.key];
      if (!way) return;
      event.preventDefault();
      event.stopPropagation();
      const now = this.handles.find((h) => h.key === handle.key) || handle;
      this.nudged = true;
      this.pull(now, add(now.lps, scale(way, mm)), { ask: event.repeat });
      this.drawNow(); // the next press starts from here
    },
    isPulling() { return this.nudged || (this.held?.kind === "handle" && this.held.moved); },
    settle() {
      if (!this.nudged) return;
      this.nudged = false;
      this.send(this.last, true);
    },
    pull(handle, point, { ask }) {
      const mark = this.marks.find((m) => m.id === handle.id);
      if (!mark) return;
      const from = this.held?.mark || mark; // turns are measured from the half as it was grabbed
      if (this.held) this.held.mark = from;
      const frame = this.scene.frame, numbers = pulled(from, handle.handle, point, frame);
      const other = this.marks.find((m) => m.cut === mark.cut && m.id !== mark.id);
      const halves = { [mark.side]: numbers };
      if (other) {
        halves[other.side] = this.halvesTogether ? together(numbers, laid(mark, numbers, frame), other, frame)
          : { height_mm: other.height_mm, tilt_deg: other.tilt_deg, roll_deg: other.roll_deg };
      }
      this.last = { cut: mark.cut, halves };
      this.showLast();
      if (ask) this.send(this.last, false);
    },
    // The line follows the hand at once; numbers and faces follow when they are measured.
    showLast() {
      const { cut, halves } = this.last;
      this.marks = this.marks.map((mark) =>
        (mark.cut === cut && halves[mark.side] ? laid(mark, halves[mark.side], this.scene.frame) : mark));
      this.draw();
    },
    // One question under way; the newest waits, older ones are let go.
    send(pull, done) {
      if (this.inFlight && !done && performance.now() - this.sentAt < 2000) {
        this.pendingPull = pull;
        return;
      }
      this.pendingPull = null;
      this.inFlight = ++this.seq;
      this.sentAt = performance.now();
      this.$emit(done ? "drop" : "drag", { ...pull, seq: this.seq });
    },
  },
};
