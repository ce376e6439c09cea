// The one large picture: a slice in any direction, or the solid picture, with cuts to pull.
import { THREE } from "nicegui-scene";

const { SliceDrawing } = await import("/look/viewer/slices.mjs");
const { SolidDrawing } = await import("/look/viewer/solid.mjs");
const geometry = await import("/look/viewer/geometry.mjs");
const contours = await import("/look/viewer/contours.mjs");
const { hands, HOME_MM_PER_PIXEL } = await import("/look/viewer/hands.mjs");
const { brush } = await import("/look/viewer/brush.mjs");
const { pens } = await import("/look/viewer/pens.mjs");
const { lettering } = await import("/look/viewer/lettering.mjs");
const { withUnit } = await import("/look/viewer/words.mjs");
const { add, dot, facing, outward, scale, sub, toPicture } = geometry;
const ROOMY_PX = 700, KEY_ASIDE_PX = 120;

export default {
  mixins: [hands, brush, lettering, pens],
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
        <button v-if="canBrush" type="button" class="look" :aria-pressed="brushing" :title="words.brush.how"
          @click="toggleBrush">{{ words.brush.verb }}</button>
        <span class="viewer-load" role="status">{{ loading }}</span>
      </div>
      <div class="viewer-bar pens" v-if="outlines && outlines.may_draw" role="toolbar" :aria-label="words.pens">
        <button v-for="(label, key) in words.tools" :key="key" type="button" class="look"
          :aria-pressed="tool === key" @click="setTool(key)">{{ label }}</button>
        <label class="look-check">{{ words.tip }} <input type="range" min="0" max="13" :value="tipPlace()"
          @input="setTip($event.target.value)" :aria-valuetext="tipMm + ' mm'"> {{ tipMm }} mm</label>
        <span class="viewer-load" v-if="notShown.length">{{ words.not_shown }} {{ notShown.join(", ") }}</span>
        <span class="viewer-load" role="status" v-if="pointAt.length">{{ words.point_at }} {{ pointAt[0] }}</span>
      </div>
      <div class="viewer-stage" :class="{ brushing: isBrushing }" ref="stage" tabindex="0" role="group" :aria-label="words.stage"
        @wheel.prevent="onWheel" @pointerdown="onDown" @pointermove="onMove" @pointerup="onUp"
        @pointercancel="onUp" @dblclick="onDouble">
        <canvas ref="slice" v-show="!isSolid"></canvas>
        <canvas ref="solid" v-show="isSolid"></canvas>
        <canvas ref="flat" class="flat"></canvas>
        <canvas ref="pens" class="flat" v-show="outlines"></canvas>
        <div v-if="pending || fetching" class="viewer-pending" role="status">{{ words.piece.pending }}</div>
        <svg ref="overlay" class="overlay" preserveAspectRatio="none"></svg>
        <button v-for="h in handles" :key="h.key" type="button" class="handle" :class="h.handle"
          :style="{ left: 100 * h.x + '%', top: 100 * h.y + '%' }" :aria-label="h.label" :data-handle="h.key"
          @pointerdown.stop="grab($event, h)" @keydown="nudge($event, h)" @keyup.stop="settle()"
          @blur="settle()"></button>
      </div>
    </div>`,
  props: { sceneUrl: String, words: Object, standing: String, startLook: String },
  data() {
    return { look: this.startLook || "behind", marks: [], handles: [], loading: "", cutShown: "",
      halvesTogether: true, pending: false, fetching: 0, arch: [], brushing: false };
  },
  async mounted() {
    window.vertebloc_viewer = () => this; // for tests and measuring
    this.parts = [];
    this.scene = null;
    this.weakest = null;
    this.swept = new Map();
    this.seq = 0;
    this.inFlight = 0;
    this.wheeled = 0;
    this.painted = 0; // pictures drawn so far, for tests and measuring
    this.mmPerPixel = HOME_MM_PER_PIXEL;
    this.stopping = new AbortController();
    this.drawing = new SliceDrawing(this.$refs.slice);
    this.watcher = new ResizeObserver(() => this.draw());
    this.watcher.observe(this.$refs.stage);
    for (const canvas of [this.$refs.slice, this.$refs.solid]) {
      canvas.addEventListener("draw-now", () => this.drawNow());
    }
    this.$refs.slice.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.loading = this.words.let_go;
    });
    this.$refs.slice.addEventListener("webglcontextrestored", () => {
      const { windowHu } = this.drawing;
      this.drawing = Object.assign(new SliceDrawing(this.$refs.slice), { windowHu });
      if (this.voxels) {
        this.drawing.openOutlines(this.voxels.grid, this.voxels.bytes);
        this.drawing.sendOutlines([0, 0, 0], this.voxels.grid.shape);
      }
      this.volumeUrl = "";
      this.load();
    });
    await this.load();
  },
  unmounted() {
    this.watcher?.disconnect();
    this.stopping?.abort();
  },
  computed: {
    isSolid() { return this.look === "solid" || this.look === "piece"; },
  },
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
      this.arch = scene.arch || [];
      this.pieceKey = JSON.stringify(scene.piece?.key);
      if (first || !this.centre) this.centre = scene.centre;
      if (scene.volume && this.volumeUrl !== scene.volume.url) this.loadImages(scene.volume);
      const had = new Map(this.parts.map((part) => [part.url, part]));
      const parts = await Promise.all((scene.meshes || []).map(async (wanted) => {
        if (had.has(wanted.url)) return had.get(wanted.url);
        const buffer = await (await fetch(wanted.url)).arrayBuffer();
        const [nv, nt] = new Uint32Array(buffer, 0, 2);
        const mesh = { positions: new Float32Array(buffer, 8, 3 * nv),
          triangles: new Uint32Array(buffer, 8 + 12 * nv, 3 * nt) };
        if (wanted.kind === "piece") { // its margins, and where it was cut
          mesh.margins = new Float32Array(buffer, 8 + 12 * nv + 12 * nt, nv);
          mesh.cut = new Float32Array(buffer, 8 + 16 * nv + 12 * nt, nv);
        }
        return { ...wanted, mesh };
      }));
      const changedCentre = scene.meshes?.length && !had.size;
      this.parts = parts;
      if (this.held?.kind !== "brush") this.swept = new Map(); // the plan says now what was swept
      this.solidStale = true;
      if (changedCentre) this.centre = scene.centre;
      this.draw();
      this.$emit("loaded", parts.length);
    },
    loadImages(volume) {
      this.volumeUrl = volume.url;
      this.loading = this.words.loading;
      this.drawing.load(volume, {
        signal: this.stopping.signal,
        onProgress: (share) => { this.loading = `${this.words.loading} ${Math.round(100 * share)} %`; },
        onShown: () => this.draw(),
      }).then(() => { this.loading = ""; })
        .catch((error) => {
          if (error.name !== "AbortError") this.loading = String(error.message || error);
        });
    },
    view() {
      const views = this.scene.views;
      const base = this.look === "side" ? views.side[this.standing]
        : this.look === "across" || this.look === "cut" ? views.across[this.standing]
        : views.behind[this.standing];
      if (this.look === "across") {
        const at = this.nearestCanal(), level = this.nearestLevel();
        if (!at) return base;
        const with_ = level ? `, ${this.words.level_with} ${level.name}` : "";
        return { ...base, ...facing(base, at.head), title: `${base.title}, ${this.words.across_canal}${with_}` };
      }
      if (this.look === "cut") {
        const mark = this.shownMark();
        if (!mark) return base;
        return { ...base, ...facing(base, mark.up), title: `${base.title}, ${this.words.in_plane} ${mark.name}` };
      }
      return base;
    },
    // The picture's axes, turned by hand too: what lies right and up on the screen.
    axes() { return this.isSolid && this.solidDrawing ? this.solidDrawing.axes(this.view()) : this.view(); },
    nearestLevel() {
      let best = null, least = Infinity;
      for (const level of this.scene.levels || []) {
        const away = Math.abs(dot(sub(this.centre, level.at), this.scene.frame.head));
        if (away < least) { least = away; best = level; }
      }
      return best;
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
      const { stage, slice, flat } = this.$refs;
      if (!stage || !this.scene) return;
      const width = Math.max(1, stage.clientWidth), height = Math.max(1, stage.clientHeight);
      const sharp = Math.min(3, window.devicePixelRatio || 1);
      sized(slice, width, height);
      sized(flat, Math.round(width * sharp), Math.round(height * sharp));
      const view = this.view(), centre = this.centre, mmPerPixel = this.mmPerPixel;
      const solid = this.isSolid, alone = this.look === "piece";
      const aside = alone && width > ROOMY_PX ? KEY_ASIDE_PX : 0; // the key stands at the left
      const toPixels = (x, y) => [width / 2 + aside + x / mmPerPixel, height / 2 - y / mmPerPixel];
      // by the processor: where there is no graphics card, far quicker than by software that acts as one
      const pen = flat.getContext("2d", { willReadFrequently: true });
      pen.setTransform(1, 0, 0, 1, 0, 0);
      pen.clearRect(0, 0, flat.width, flat.height);
      pen.setTransform(sharp, 0, 0, sharp, 0, 0);
      if (solid) this.drawSolid(view, width, height, aside);
      const axes = this.axes();
      let lines = [], tumour = null;
      if (alone) {
        // nothing is pulled here: the piece is looked at from all sides, words stand beside it
        tumour = this.boxOfKind("piece", axes, toPixels);
      } else if (solid) {
        tumour = this.boxOfKind("tumour", axes, toPixels);
        const faces = this.marks.filter((mark) => mark.polygon_lps_mm?.length > 2);
        contours.drawFaces(pen, faces, axes, centre, toPixels);
        lines = contours.bladesOf(this.marks, axes, centre, mmPerPixel);
        contours.drawBlades(pen, lines, toPixels);
      } else {
        const slot = this.slot();
        this.drawing.draw(view, centre, mmPerPixel, slot === undefined ? null : { slot, inks: this.inks() });
        tumour = this.isPulling() ? this.layContours(pen, { view, centre, toPixels, mmPerPixel, sharp })
          : contours.drawContours(pen, { parts: this.shownParts(), view, centre, toPixels });
        if (this.look === "cut") contours.drawFaces(pen, this.facesInPlane(view), view, centre, toPixels);
        else lines = contours.cutLines(this.marks, view, centre, this.look, this.scene.frame);
        this.archShown = this.isBrushing ? this.archInSlice(view, centre) : [];
        contours.drawArch(pen, this.archShown, this.swept, toPixels);
        contours.drawCuts(pen, lines, view, toPixels, mmPerPixel);
      }
      this.drawTip();
      this.placeHandles(lines, axes, toPixels, width, height);
      this.writeWords({ pen, lines, tumour, view, axes, toPixels, width, height });
      this.painted += 1;
    },
    // While a cut is pulled outlines stay where they are: drawn once, then only laid down.
    layContours(pen, { view, centre, toPixels, mmPerPixel, sharp }) {
      const parts = this.shownParts(), { flat } = this.$refs, layer = this.layer ?? (this.layer = { of: "" });
      const of = [view.right, view.up, centre, mmPerPixel, sharp, flat.width, flat.height, parts.map((part) => part.url)].join();
      if (layer.of !== of) {
        layer.canvas ??= document.createElement("canvas");
        layer.canvas.width = flat.width; // empties it
        layer.canvas.height = flat.height;
        const own = layer.canvas.getContext("2d", { willReadFrequently: true });
        own.setTransform(sharp, 0, 0, sharp, 0, 0);
        layer.tumour = contours.drawContours(own, { parts, view, centre, toPixels });
        layer.of = of;
      }
      pen.drawImage(layer.canvas, 0, 0, flat.width / sharp, flat.height / sharp);
      return layer.tumour;
    },
    boxOfKind(kind, axes, toPixels) {
      const mesh = this.parts.find((part) => part.kind === kind)?.mesh, seen = [];
      for (let at = 0; mesh && at < mesh.positions.length; at += 90) {
        seen.push(toPixels(...toPicture(axes, this.centre, mesh.positions.subarray(at, at + 3))));
      }
      return contours.boxOf(seen);
    },
    facesInPlane(view) {
      const shown = this.shownMark();
      return this.marks.filter((mark) => mark.cut === shown?.cut && mark.polygon_lps_mm?.length > 2
        && Math.abs(dot(sub(mark.polygon_lps_mm[0], this.centre), view.toward)) < 3);
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
    drawSolid(view, width, height, aside) {
      if (!this.solidDrawing) this.solidDrawing = new SolidDrawing(this.$refs.solid, THREE);
      if (this.solidStale) {
        const names = new Set(this.parts.map((part) => part.name));
        for (const name of [...this.solidDrawing.parts.keys()]) {
          if (!names.has(name)) this.solidDrawing.drop(name);
        }
        for (const part of this.parts) {
          const old = this.solidDrawing.parts.get(part.name);
          if (!old || old.url !== part.url || (part.kind === "piece" && old.key !== this.pieceKey)) {
            this.solidDrawing.put(part.name, part.kind, part.mesh, this.scene.piece?.key);
            this.solidDrawing.parts.get(part.name).key = this.pieceKey;
            this.solidDrawing.parts.get(part.name).url = part.url;
          }
        }
        this.solidStale = false;
      }
      this.solidDrawing.showOnly(this.look === "piece");
      this.solidDrawing.draw(view, this.centre, this.mmPerPixel, width, height, aside);
    },
    placeHandles(lines, axes, toPixels, width, height) {
      if (!this.scene.may_change) { this.handles = []; return; }
      const held = this.held?.handle?.key || document.activeElement?.dataset?.handle;
      this.handles = lines.flatMap(({ mark, grips }) => Object.entries(grips).map(([handle, lps]) => {
        const [x, y] = toPixels(...toPicture(axes, this.centre, lps));
        const number = handle === "move" ? withUnit(mark.height_mm, " mm")
          : withUnit(handle === "tip" ? mark.tilt_deg : mark.roll_deg, "°");
        return { key: `${mark.id}:${handle}`, handle, x: x / width, y: y / height, lps, id: mark.id,
          label: `${mark.name}, ${this.words.handles[handle]}: ${number}` };
      })).filter((h) => h.key === held || (h.x > 0 && h.x < 1 && h.y > 0 && h.y < 1));
    },
    // --- from the server -----------------------------------------------------------------------
    showCuts(marks, seq, weakest) {
      if (seq && seq < this.inFlight) return; // answers an older question; the newer one's is coming
      this.marks = marks;
      if (!this.marks.some((mark) => mark.id === this.cutShown)) this.cutShown = marks[0]?.id || "";
      if (weakest !== undefined) this.weakest = weakest;
      if (seq && seq === this.inFlight) {
        this.inFlight = 0;
        this.answeredIn = performance.now() - this.sentAt;
      }
      if (this.pendingPull || (this.inFlight && this.isPulling())) this.showLast(); // the hand is farther on
      if (this.pendingPull && !this.inFlight) this.send(this.pendingPull, false);
      if (this.look === "cut" && !this.isPulling()) this.centreOnCut();
      this.draw();
    },
    async reload() {
      this.fetching += 1; // the old piece stays, and says so, until the new one is here
      try { await this.load(); } finally { this.fetching -= 1; }
    },
    setPending(pending) {
      this.pending = pending;
      if (pending || this.fetching || this.held?.kind === "brush" || !this.swept.size) return;
      this.swept = new Map(); // what was swept was not taken
      this.draw();
    },
    setLook(look) {
      this.look = look;
      this.wheeled = 0;
      if (look === "cut") this.centreOnCut();
      if (look === "piece") this.centreOnPiece();
      this.draw();
      this.$emit("look", look);
    },
    centreOnPiece() {
      const mesh = this.parts.find((part) => part.kind === "piece")?.mesh;
      if (!mesh) return;
      const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
      mesh.positions.forEach((value, at) => {
        low[at % 3] = Math.min(low[at % 3], value);
        high[at % 3] = Math.max(high[at % 3], value);
      });
      this.centre = scale(add(low, high), 0.5);
    },
    centreOnCut() {
      const mark = this.shownMark();
      if (!mark) return;
      const inward = scale(outward(mark), -mark.half_width_mm);
      this.centre = add(mark.entry_lps_mm, add(scale(mark.blade, mark.depth_mm * 0.3), inward));
      this.draw();
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

function sized(canvas, width, height) {
  if (canvas.width === width && canvas.height === height) return;
  canvas.width = width;
  canvas.height = height;
}
