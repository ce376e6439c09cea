// The one large picture: a slice in any direction, or the solid picture, with cuts to pull.
import { THREE } from "nicegui-scene";

const { SliceDrawing } = await import("/look/viewer/slices.mjs");
const { SolidDrawing } = await import("/look/viewer/solid.mjs");
const geometry = await import("/look/viewer/geometry.mjs");
const contours = await import("/look/viewer/contours.mjs");
const { add, dot, facing, fromPicture, pulled, scale, sub, toPicture, together } = geometry;

const HOME_MM_PER_PIXEL = 0.17;

export default {
  template: `
    <div class="viewer" @keydown="onKey">
      <div class="viewer-bar" role="toolbar" :aria-label="words.toolbar">
        <button v-for="(label, key) in words.looks" :key="key" type="button" class="look"
          :aria-pressed="look === key" @click="setLook(key)">{{ label }}</button>
        <select v-if="look === 'cut'" :aria-label="words.which_cut" v-model="cutShown" @change="centreOnCut">
          <option v-for="mark in marks" :key="mark.id" :value="mark.id">{{ mark.name }}</option>
        </select>
        <label class="look-check" v-if="marks.length"><input type="checkbox" v-model="halvesTogether">
          {{ words.together }}</label>
        <span class="viewer-load" role="status">{{ loading }}</span>
      </div>
      <div class="viewer-stage" ref="stage" tabindex="0" :aria-label="words.stage"
        @wheel.prevent="onWheel" @pointerdown="onDown" @pointermove="onMove" @pointerup="onUp"
        @pointercancel="onUp" @dblclick="onDouble">
        <canvas ref="slice" v-show="look !== 'solid'"></canvas>
        <canvas ref="solid" v-show="look === 'solid'"></canvas>
        <canvas ref="flat" class="flat"></canvas>
        <button v-for="h in handles" :key="h.key" type="button" class="handle" :class="h.handle"
          :style="{ left: h.x + 'px', top: h.y + 'px' }" :aria-label="h.label" :data-handle="h.key"
          @pointerdown.stop="grab($event, h)" @keydown.stop="nudge($event, h)"></button>
      </div>
    </div>`,
  props: { sceneUrl: String, words: Object, standing: String, startLook: String },
  data() {
    return { look: this.startLook || "behind", marks: [], handles: [], loading: "", cutShown: "",
      halvesTogether: true };
  },
  async mounted() {
    window.vertebloc_viewer = () => this; // for tests and measuring
    this.parts = [];
    this.scene = null;
    this.weakest = null;
    this.seq = 0;
    this.inFlight = 0;
    this.mmPerPixel = HOME_MM_PER_PIXEL;
    this.drawing = new SliceDrawing(this.$refs.slice);
    this.watcher = new ResizeObserver(() => this.draw());
    this.watcher.observe(this.$refs.stage);
    for (const canvas of [this.$refs.slice, this.$refs.solid]) {
      canvas.addEventListener("draw-now", () => this.drawNow());
    }
    await this.load();
  },
  unmounted() { this.watcher?.disconnect(); },
  watch: {
    standing() { this.draw(); },
  },
  methods: {
    // Fetch what is there: images at once, outlines once they are measured.
    async load() {
      const answer = await fetch(this.sceneUrl);
      if (!answer.ok) return;
      const scene = await answer.json();
      const first = !this.scene;
      this.scene = scene;
      if (first || !this.centre) this.centre = scene.centre;
      if (scene.volume && this.volumeUrl !== scene.volume.url) {
        this.volumeUrl = scene.volume.url;
        this.loading = this.words.loading;
        this.drawing.load(scene.volume, (share) => {
          this.loading = `${this.words.loading} ${Math.round(100 * share)} %`;
        }).then(() => { this.loading = ""; this.draw(); })
          .catch((error) => { this.loading = String(error.message || error); });
      }
      const had = new Map(this.parts.map((part) => [part.url, part]));
      const parts = await Promise.all((scene.meshes || []).map(async (wanted) => {
        if (had.has(wanted.url)) return had.get(wanted.url);
        const buffer = await (await fetch(wanted.url)).arrayBuffer();
        const [nv, nt] = new Uint32Array(buffer, 0, 2);
        return { ...wanted, mesh: {
          positions: new Float32Array(buffer, 8, 3 * nv),
          triangles: new Uint32Array(buffer, 8 + 12 * nv, 3 * nt),
        } };
      }));
      const changedCentre = scene.meshes?.length && !had.size;
      this.parts = parts;
      this.solidStale = true;
      if (changedCentre) this.centre = scene.centre;
      this.draw();
      this.$emit("loaded", parts.length);
    },
    view() {
      const views = this.scene.views;
      const base = this.look === "side" ? views.side[this.standing]
        : this.look === "across" || this.look === "cut" ? views.across[this.standing]
        : views.behind[this.standing];
      if (this.look === "across") {
        const at = this.nearestCanal();
        return at ? { ...base, ...facing(base, at.head) } : base;
      }
      if (this.look === "cut") {
        const mark = this.shownMark();
        return mark ? { ...base, ...facing(base, mark.up) } : base;
      }
      return base;
    },
    shownMark() { return this.marks.find((m) => m.id === this.cutShown) || this.marks[0]; },
    nearestCanal() {
      let best = null, least = Infinity;
      for (const at of this.scene.canal || []) {
        const away = Math.abs(dot(sub(this.centre, at.point), at.head));
        if (away < least) { least = away; best = at; }
      }
      return best;
    },
    draw() {
      if (this.waiting || !this.scene) return;
      this.waiting = requestAnimationFrame(() => { this.waiting = 0; this.drawNow(); });
    },
    drawNow() {
      const { stage, slice, flat, solid } = this.$refs;
      if (!stage || !this.scene) return;
      const width = Math.max(1, stage.clientWidth), height = Math.max(1, stage.clientHeight);
      for (const canvas of [slice, flat]) {
        if (canvas.width !== width || canvas.height !== height) {
          canvas.width = width;
          canvas.height = height;
        }
      }
      const view = this.view(), centre = this.centre, mmPerPixel = this.mmPerPixel;
      const toPixels = (x, y) => [width / 2 + x / mmPerPixel, height / 2 - y / mmPerPixel];
      const pen = flat.getContext("2d");
      pen.clearRect(0, 0, width, height);
      let lines = [];
      if (this.look === "solid") {
        this.drawSolid(view, width, height);
      } else {
        this.drawing.draw(view, centre, mmPerPixel);
        contours.drawContours(pen, { parts: this.parts, view, centre, toPixels });
        if (this.look === "cut") this.drawFaces(pen, view, centre, toPixels);
        else lines = contours.cutLines(this.marks, view, centre, this.look);
        this.setMarginShift(lines, view);
        contours.drawCuts(pen, lines, toPixels, {});
        this.drawLevels(pen, view, centre, toPixels, width, height);
        this.nameCuts(pen, lines, toPixels, width);
        if (this.weakest) {
          contours.drawWeakest(pen, this.weakest, { view, centre, toPixels, width, height });
        }
      }
      this.placeHandles(lines, toPixels);
      const turned = this.look === "solid" && this.solidTurned;
      contours.drawFrame(pen, {
        width, height, mmPerPixel,
        edges: turned ? this.edgesOf(this.solidDrawing.axes(view)) : view.edges,
        title: turned ? this.words.turned : view.title,
        stand: { down: view.stand_down && !turned, words: this.words.stand_here },
      });
    },
    edgesOf({ right, up }) {
      const f = this.scene.frame, names = this.words.directions;
      const name = (axis) => {
        const parts = [[dot(axis, f.left), names.left, names.right],
          [dot(axis, f.back), names.back, names.front], [dot(axis, f.head), names.head, names.feet]];
        parts.sort((a, b) => Math.abs(b[0]) - Math.abs(a[0]));
        return parts[0][0] > 0 ? parts[0][1] : parts[0][2];
      };
      return { right: name(right), left: name(scale(right, -1)), up: name(up), down: name(scale(up, -1)) };
    },
    drawSolid(view, width, height) {
      if (!this.solidDrawing) this.solidDrawing = new SolidDrawing(this.$refs.solid, THREE);
      if (this.solidStale) {
        const names = new Set(this.parts.map((part) => part.name));
        for (const name of [...this.solidDrawing.parts.keys()]) {
          if (!names.has(name)) this.solidDrawing.drop(name);
        }
        for (const part of this.parts) {
          const old = this.solidDrawing.parts.get(part.name);
          if (!old || old.url !== part.url) {
            this.solidDrawing.put(part.name, part.kind, part.mesh);
            this.solidDrawing.parts.get(part.name).url = part.url;
          }
        }
        this.solidStale = false;
      }
      this.solidDrawing.putFaces(this.marks.filter((m) => m.polygon_lps_mm?.length > 2)
        .map((m) => ({ points: m.polygon_lps_mm, colour: "#57c2b9" })));
      this.solidDrawing.draw(view, this.centre, this.mmPerPixel, width, height);
    },
    // On which side of each line the piece lies in this picture: the wanted margin goes there.
    setMarginShift(lines, view) {
      for (const { mark, ends } of lines) {
        const [a, b] = ends, along = [b[0] - a[0], b[1] - a[1]];
        const inward = [-dot(mark.out, view.right), -dot(mark.out, view.up)];
        // screen y runs down: the left normal of (dx, -dy) in pixels
        const left = along[1] * -inward[0] + along[0] * inward[1];
        mark.inward_px = (left > 0 ? -1 : 1) * ((mark.wanted_mm || 0) / this.mmPerPixel);
      }
    },
    drawFaces(pen, view, centre, toPixels) {
      const shown = this.shownMark();
      if (!shown) return;
      for (const mark of this.marks.filter((m) => m.cut === shown.cut)) {
        const outline = mark.polygon_lps_mm || [];
        if (outline.length < 3) continue;
        if (Math.abs(dot(sub(outline[0], centre), view.toward)) > 3) continue;
        pen.beginPath();
        outline.forEach((p, i) => {
          const at = toPixels(...toPicture(view, centre, p));
          if (i) pen.lineTo(...at); else pen.moveTo(...at);
        });
        pen.closePath();
        pen.fillStyle = mark.ink;
        pen.globalAlpha = 0.42;
        pen.fill();
        pen.globalAlpha = 1;
        pen.strokeStyle = "#57c2b9";
        pen.lineWidth = 2;
        pen.stroke();
        const middle = outline.reduce((s, p) => add(s, scale(p, 1 / outline.length)), [0, 0, 0]);
        const at = toPixels(...toPicture(view, centre, middle));
        contours.write(pen, mark.margin_words || "", ...at, "center");
      }
    },
    drawLevels(pen, view, centre, toPixels, width, height) {
      if (this.look === "across" || this.look === "cut") return;
      for (const level of this.scene.levels || []) {
        const [x, y] = toPixels(...toPicture(view, centre, level.at));
        if (x > 40 && x < width - 40 && y > 70 && y < height - 50) {
          contours.write(pen, level.name, x, y, "center");
        }
      }
    },
    nameCuts(pen, lines, toPixels, width) {
      const named = new Set();
      for (const { mark, ends } of lines) {
        if (named.has(mark.cut)) continue;
        named.add(mark.cut);
        const spots = lines.filter((l) => l.mark.cut === mark.cut).flatMap((l) => l.ends)
          .map((e) => toPixels(...e)).sort((a, b) => a[1] - b[1]);
        const [x, y] = spots[0];
        if (y - 24 > 84) contours.write(pen, mark.cut_words, Math.min(Math.max(x, 60), width - 60), y - 24, "center");
        else contours.write(pen, mark.cut_words, x + 18, Math.max(y, 70), "left");
      }
    },
    placeHandles(lines, toPixels) {
      if (!this.scene.may_change) { this.handles = []; return; }
      const turn = this.look === "side" ? "tip" : "side";
      this.handles = lines.flatMap(({ mark, ends, points }) => {
        const middle = [(ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2];
        const at = [["move", middle, scale(add(points[0], points[1]), 0.5)], [turn, ends[1], points[1]]];
        return at.map(([handle, xy, lps]) => {
          const [x, y] = toPixels(...xy);
          const number = handle === "move" ? `${mark.height_mm.toFixed(1)} mm`
            : `${(handle === "tip" ? mark.tilt_deg : mark.roll_deg).toFixed(1)}°`;
          return { key: `${mark.id}:${handle}`, handle, x, y, lps, id: mark.id,
            label: `${mark.name}, ${this.words.handles[handle]}: ${number}` };
        });
      });
    },
    // --- hands -------------------------------------------------------------------------------
    at(event) {
      const box = this.$refs.stage.getBoundingClientRect();
      return [(event.clientX - box.left - box.width / 2) * this.mmPerPixel,
        -(event.clientY - box.top - box.height / 2) * this.mmPerPixel];
    },
    grab(event, handle) {
      event.preventDefault();
      event.target.focus();
      this.$refs.stage.setPointerCapture(event.pointerId);
      this.held = { kind: "handle", handle };
    },
    onDown(event) {
      if (event.button !== 0) return;
      this.$refs.stage.setPointerCapture(event.pointerId);
      this.held = { kind: event.shiftKey ? "window" : this.look === "solid" ? "turn" : "pan",
        x: event.clientX, y: event.clientY };
    },
    onMove(event) {
      const held = this.held;
      if (!held) return;
      if (held.kind === "handle") {
        this.pull(held.handle, fromPicture(this.view(), this.centre, ...this.at(event)), false);
        return;
      }
      const dx = event.clientX - held.x, dy = event.clientY - held.y;
      held.x = event.clientX;
      held.y = event.clientY;
      if (held.kind === "pan") {
        const view = this.view();
        this.centre = add(this.centre, add(scale(view.right, -dx * this.mmPerPixel),
          scale(view.up, dy * this.mmPerPixel)));
      } else if (held.kind === "turn") {
        this.solidDrawing.turnBy(dx, dy);
        this.solidTurned = true;
      } else {
        const [low, high] = this.drawing.windowHu, middle = (low + high) / 2 - dy * 3;
        const half = Math.max(20, (high - low) / 2 + dx * 3);
        this.drawing.windowHu = [middle - half, middle + half];
      }
      this.draw();
    },
    onUp() {
      const held = this.held;
      this.held = null;
      if (held?.kind === "handle" && this.last) this.send(this.last, true);
    },
    onDouble() { this.home(); },
    home() {
      this.centre = this.scene.centre;
      this.mmPerPixel = HOME_MM_PER_PIXEL;
      this.solidTurned = false;
      if (this.solidDrawing) this.solidDrawing.turn.identity();
      this.draw();
    },
    onWheel(event) {
      if (event.ctrlKey || this.look === "solid") {
        this.mmPerPixel = Math.min(1.2, Math.max(0.04, this.mmPerPixel * Math.exp(event.deltaY * 0.0012)));
      } else {
        this.step(event.deltaY > 0 ? 1 : -1, event.shiftKey ? 5 : 1);
      }
      this.draw();
    },
    step(sense, times = 1) {
      const toward = this.view().toward;
      this.centre = add(this.centre, scale(toward, -sense * times * (this.scene.step_mm || 0.5)));
    },
    onKey(event) {
      if (event.target !== this.$refs.stage) return;
      const done = {
        ArrowUp: () => this.step(-1), ArrowDown: () => this.step(1),
        PageUp: () => this.step(-1, 10), PageDown: () => this.step(1, 10),
        "+": () => { this.mmPerPixel *= 0.9; }, "-": () => { this.mmPerPixel *= 1.1; },
        Home: () => this.home(),
      }[event.key];
      if (!done) return;
      event.preventDefault();
      done();
      this.draw();
    },
    nudge(event, handle) {
      const view = this.view(), mm = event.shiftKey ? 0.1 : 0.5;
      const way = { ArrowUp: view.up, ArrowDown: scale(view.up, -1), ArrowRight: view.right,
        ArrowLeft: scale(view.right, -1) }[event.key];
      if (!way) return;
      event.preventDefault();
      const now = this.handles.find((h) => h.key === handle.key) || handle;
      this.pull(now, add(now.lps, scale(way, mm)), true);
    },
    pull(handle, point, done) {
      const mark = this.marks.find((m) => m.id === handle.id);
      if (!mark) return;
      const frame = this.scene.frame, numbers = pulled(mark, handle.handle, point, frame);
      const other = this.marks.find((m) => m.cut === mark.cut && m.id !== mark.id);
      const halves = { [mark.side]: numbers };
      if (other) {
        halves[other.side] = this.halvesTogether ? together(numbers, mark, other, frame)
          : { height_mm: other.height_mm, tilt_deg: other.tilt_deg, roll_deg: other.roll_deg };
      }
      this.last = { cut: mark.cut, halves };
      this.send(this.last, done);
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
    // --- from the server -----------------------------------------------------------------------
    showCuts(marks, seq, weakest) {
      this.marks = marks;
      if (!this.cutShown && marks.length) this.cutShown = marks[0].id;
      if (weakest !== undefined) this.weakest = weakest;
      if (seq && seq === this.inFlight) {
        this.inFlight = 0;
        this.answeredIn = performance.now() - this.sentAt;
        if (this.pendingPull) this.send(this.pendingPull, false);
      }
      if (this.look === "cut" && this.held?.kind !== "handle") this.centreOnCut(false);
      this.draw();
    },
    reload() { return this.load(); },
    setLook(look) {
      this.look = look;
      if (look === "cut") this.centreOnCut(false);
      this.draw();
      this.$emit("look", look);
    },
    centreOnCut(redraw = true) {
      const mark = this.shownMark();
      if (!mark) return;
      const inward = scale(mark.edge, (mark.side === "left" ? -1 : 1) * mark.half_width_mm);
      this.centre = add(mark.entry_lps_mm, add(scale(mark.blade, mark.depth_mm * 0.3), inward));
      if (redraw) this.draw();
    },
    turnTo(look, point) {
      this.setLook(look);
      if (point) this.centre = point;
      this.draw();
    },
    // For measuring: paints one slice and waits until it is on the canvas.
    paintOnce() {
      const started = performance.now(), gl = this.drawing.gl;
      this.drawNow();
      gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
      return performance.now() - started;
    },
  },
};
