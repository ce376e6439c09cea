// Drawing outlines on the slice that is shown: tools, tip, strokes. Methods of the viewer.

import { dot, fromPicture, sub } from "./geometry.mjs";
import { alongLine, OutlineVoxels, withinLoop } from "./tips.mjs";

const SLOTS = 8, TIPS_MM = [0.5, 0.75, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20];
const KEYS = { d: "draw", r: "rub", l: "loop", x: "loop out", f: "fence", m: "move" };
const KEPT = new Set(["bone", "rib"]);
const OUT = ["rub", "loop out"], LOOPS = ["loop", "loop out"];
const round = (x) => Math.round(x * 1e4) / 1e4;

export const pens = {
  data() { return { tool: "draw", tipMm: 4, outlines: null, pointAt: [], notShown: [] }; },
  methods: {
    // What the server holds: {grid, active, may_draw, outlines: [{id, words, ink, mark, url}], seq}.
    setDrawing(state) {
      const before = this.outlines;
      this.outlines = state;
      if (!state) {
        if (before) this.draw();
        return;
      }
      const key = state.grid.shape.join() + state.grid.lps.join();
      if (this.voxelsOf !== key) {
        this.voxels = new OutlineVoxels(state.grid);
        this.voxelsOf = key;
        this.slots = new Map();
        this.sent = new Map();
        this.drawing.openOutlines(state.grid, this.voxels.bytes);
      }
      // the one that is drawn on comes first; an empty fence only once it is to be drawn
      this.ordered = state.outlines.filter((one) => one.id !== state.fence || this.tool === "fence"
        || !one.mark.startsWith("0-"));
      const shown = this.ordered.slice(0, SLOTS), wanted = new Set(shown.map((one) => one.id));
      let changed = before?.active !== state.active; // what a stroke changes is painted already
      for (const [id, slot] of this.slots) {
        if (wanted.has(id)) continue;
        this.fill(slot, [0, 0, 0], [0, 0, 0], []);
        this.slots.delete(id);
        changed = true;
      }
      for (const one of shown) {
        if (!this.slots.has(one.id)) {
          this.slots.set(one.id, this.freeSlot());
          changed = true;
        }
        this.agree(one, state.seq || 0);
      }
      this.notShown = this.ordered.slice(SLOTS).map((one) => one.words);
      if (before?.active !== state.active) this.goTo(state.outlines.find((one) => one.id === state.active));
      if (changed) this.draw();
    },
    // The middle of an outline that was chosen, if it has one.
    goTo(one) { if (one?.middle?.length) this.centre = one.middle; },
    freeSlot() {
      const taken = new Set(this.slots.values());
      return [...Array(SLOTS).keys()].find((slot) => !taken.has(slot));
    },
    // The server's voxels against ours as they were after the stroke that it answers.
    agree(one, seq) {
      const slot = this.slots.get(one.id), waiting = this.sent.get(one.id) || [];
      const answered = waiting.find((stroke) => stroke.seq === seq);
      const left = waiting.filter((stroke) => stroke.seq > seq);
      this.sent.set(one.id, left);
      if (answered ? answered.mark === one.mark : !left.length && this.voxels.mark(slot) === one.mark) return;
      if (left.length || this.stroke) return; // strokes are under way: the last answer settles it
      if (this.coming?.get(slot) !== one.url) this.fetchOutline(one, slot);
    },
    async fetchOutline(one, slot) {
      (this.coming ??= new Map()).set(slot, one.url);
      const answer = await fetch(one.url);
      if (this.coming.get(slot) !== one.url) return; // a newer one is on its way
      this.coming.delete(slot);
      if (!answer.ok || this.slots.get(one.id) !== slot || this.sent.get(one.id)?.length || this.stroke) return;
      const buffer = await answer.arrayBuffer(), head = new Uint32Array(buffer, 0, 6);
      this.fill(slot, [...head.slice(0, 3)], [...head.slice(3)], new Uint8Array(buffer, 24));
      this.reloaded = (this.reloaded || 0) + 1; // for tests and measuring
      this.draw();
    },
    fill(slot, start, shape, bits) {
      const [low, high] = this.voxels.take(slot, start, shape, bits);
      this.drawing.sendOutlines(low, high);
    },
    slot() { return this.outlines ? this.slots?.get(this.outlines.active) : undefined; },
    inks() {
      const found = [];
      for (const one of this.ordered || []) if (this.slots.has(one.id)) found[this.slots.get(one.id)] = one.ink;
      return found;
    },
    mayDraw() {
      if (this.pointAt.length && this.outlines?.may_draw && !this.isSolid) return true;
      return Boolean(this.outlines?.may_draw) && !this.isSolid && this.tool !== "move" && this.slot() !== undefined;
    },
    setTool(tool) {
      this.tool = tool;
      if (tool === "fence" && !this.slots.has(this.outlines.fence)) this.setDrawing(this.outlines);
      this.draw();
    },
    tipPlace() { return TIPS_MM.indexOf(this.tipMm); },
    setTip(place) { this.tipMm = TIPS_MM[Number(place)]; this.draw(); },
    // While outlines are drawn, the last plan's surfaces of the same things would only be in the way.
    shownParts() { return this.outlines ? this.parts.filter((part) => KEPT.has(part.kind)) : this.parts; },
    changeTip(steps) {
      const at = TIPS_MM.findIndex((mm) => mm >= this.tipMm);
      this.tipMm = TIPS_MM[Math.min(TIPS_MM.length - 1, Math.max(0, at + steps))];
      this.draw();
    },
    // Where the pointer is, on the slice, in patient LPS.
    under(event) {
      const { stage } = this.$refs, box = stage.getBoundingClientRect();
      const x = (event.clientX - box.left - stage.clientWidth / 2) * this.mmPerPixel;
      const y = (stage.clientHeight / 2 - (event.clientY - box.top)) * this.mmPerPixel;
      return fromPicture(this.view(), this.centre, x, y).map(round);
    },
    // Places to point at, one after the other; then they are sent.
    startPointing(number, places) {
      this.pointing = { number, points: [] };
      this.pointAt = [...places];
      this.$refs.stage.focus({ preventScroll: true }); // Space points here, and no longer at the button
      this.draw();
    },
    pointedAt(point) {
      this.pointing.points.push(point);
      this.pointAt = this.pointAt.slice(1);
      if (!this.pointAt.length) this.$emit("pointed", this.pointing);
    },
    normal() { return this.view().toward; },
    startStroke(point) {
      if (this.pointAt.length) { this.pointedAt(point); return; }
      const normal = this.view().toward;
      this.stroke = { id: this.tool === "fence" ? this.outlines.fence : this.outlines.active, tool: this.tool, normal, points: [point],
        radius: LOOPS.includes(this.tool) ? 0 : this.tipMm };
      if (this.stroke.radius) this.paint(point, point);
      this.drawSoon();
    },
    moveStroke(event) {
      if (!this.stroke) return;
      const events = event.getCoalescedEvents?.() || [], stroke = this.stroke;
      for (const one of events.length ? events : [event]) {
        const last = stroke.points[stroke.points.length - 1], point = this.under(one);
        if (Math.hypot(...sub(point, last)) < Math.max(0.15, stroke.radius / 8)) continue;
        stroke.points.push(point);
        if (stroke.radius) this.paint(last, point);
      }
      if (!this.waiting) this.drawStroke(); // it is a small box: no need to wait for a frame
    },
    paint(a, b) {
      const { points: [first], normal, radius, tool } = this.stroke, { grid } = this.voxels;
      const slot = this.slots.get(this.stroke.id);
      const [low, high] = this.voxels.put(slot, !OUT.includes(tool),
        (touch) => alongLine(grid, { a, b, first, normal, radius }, touch));
      this.drawing.sendOutlines(low, high);
      this.touch(a, b);
    },
    endStroke() {
      if (!this.stroke) return;
      const stroke = this.stroke, { grid } = this.voxels, { points, normal } = stroke;
      this.stroke = null;
      if (!stroke.radius) {
        if (points.length < 3) { this.draw(); return; }
        const [low, high] = this.voxels.put(this.slots.get(stroke.id), !OUT.includes(stroke.tool),
          (touch) => withinLoop(grid, { points, normal }, touch));
        this.drawing.sendOutlines(low, high);
      }
      this.strokes = (this.strokes || 0) + 1;
      const waiting = this.sent.get(stroke.id) || [];
      waiting.push({ seq: this.strokes, mark: this.voxels.mark(this.slots.get(stroke.id)) });
      this.sent.set(stroke.id, waiting);
      this.$emit("stroke", { seq: this.strokes, id: stroke.id, rub_out: OUT.includes(stroke.tool),
        points, normal, radius_mm: stroke.radius });
      if (stroke.radius) this.drawSoon();
      else this.draw();
    },
    // A dab in the middle of the picture: drawing without a pointer.
    dab() {
      if (this.pointAt.length && this.mayDraw()) { this.pointedAt(this.centre.map(round)); return; }
      if (!this.mayDraw() || LOOPS.includes(this.tool)) return;
      this.startStroke(this.centre.map(round));
      this.endStroke();
    },
    penKey(event) {
      const key = event.key.toLowerCase();
      if (!this.outlines) return false;
      if (KEYS[key]) this.setTool(KEYS[key]);
      else if (key === "," || key === ".") this.changeTip(key === "," ? -1 : 1);
      else if (key === " " || key === "enter") this.dab();
      else return false;
      return true;
    },
    // While a stroke is drawn, only what it may have changed is painted anew.
    touch(a, b) {
      const { lps } = this.voxels.grid, { stage } = this.$refs;
      const edge = Math.max(...[0, 1, 2].map((axis) => Math.hypot(lps[axis], lps[4 + axis], lps[8 + axis])));
      const pad = (this.stroke.radius + 2 * edge) / this.mmPerPixel + 3, view = this.view();
      for (const point of [a, b]) {
        const away = sub(point, this.centre);
        const x = stage.clientWidth / 2 + dot(away, view.right) / this.mmPerPixel;
        const y = stage.clientHeight / 2 - dot(away, view.up) / this.mmPerPixel;
        const had = this.touched ?? { left: x, right: x, top: y, bottom: y };
        this.touched = { left: Math.min(had.left, x - pad), right: Math.max(had.right, x + pad),
          top: Math.min(had.top, y - pad), bottom: Math.max(had.bottom, y + pad) };
      }
    },
    drawSoon() {
      if (this.waiting || this.soon) return; // a whole picture is coming, or this one is
      this.soon = requestAnimationFrame(() => { this.soon = 0; this.drawStroke(); });
    },
    drawStroke() {
      const box = this.touched, slot = this.slot();
      this.touched = null;
      if (box && slot !== undefined) {
        this.drawing.draw(this.view(), this.centre, this.mmPerPixel, { slot, inks: this.inks() }, { x: box.left,
          y: box.top, width: box.right - box.left, height: box.bottom - box.top });
      }
      this.drawTip();
      this.painted += 1;
    },
    // The tip lies on a canvas of its own: moving it about paints nothing else.
    drawTip() {
      const { stage, pens: canvas } = this.$refs, width = stage.clientWidth, height = stage.clientHeight;
      if (canvas.width !== width) canvas.width = width;
      if (canvas.height !== height) canvas.height = height;
      const pen = canvas.getContext("2d");
      pen.clearRect(0, 0, width, height);
      this.drawPens(pen, this.view(), (x, y) => [width / 2 + x / this.mmPerPixel, height / 2 - y / this.mmPerPixel]);
    },
    // The tip under the pointer, the line of a loop, a circle where a dab would fall.
    drawPens(pen, view, toPixels) {
      if (!this.outlines || this.isSolid) return;
      pen.lineWidth = 1.4;
      pen.strokeStyle = OUT.includes(this.tool) ? "#f4f1e8" : "#bdf0ea";
      pen.setLineDash(OUT.includes(this.tool) ? [3, 3] : []);
      const at = (point) => toPixels(dot(sub(point, this.centre), view.right), dot(sub(point, this.centre), view.up));
      if (this.stroke && !this.stroke.radius) {
        pen.beginPath();
        this.stroke.points.forEach((point, i) => (i ? pen.lineTo(...at(point)) : pen.moveTo(...at(point))));
        pen.closePath();
        pen.stroke();
      } else if (this.mayDraw() && !LOOPS.includes(this.tool)) {
        const [x, y] = this.hover ? at(this.hover) : toPixels(0, 0);
        pen.beginPath();
        pen.arc(x, y, this.tipMm / this.mmPerPixel, 0, 2 * Math.PI);
        pen.stroke();
      }
      pen.setLineDash([]);
    },
  },
};
