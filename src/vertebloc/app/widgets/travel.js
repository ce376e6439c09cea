// The way out, played: plane of travel (drawn by the server, moved here), 3-D, room at the sac.
import { THREE } from "nicegui-scene";

const { SolidDrawing } = await import("/look/viewer/solid.mjs");
const { moveOf, meshOf, tubeOf, nextPose } = await import("/look/travel.mjs");
const FAST_MM_S = 25, SLOW_MM_S = 5, TURN_PX = 3;

export default {
  template: `
    <div class="travel" @keydown="onKey">
      <div class="viewer-bar" role="toolbar">
        <button type="button" class="look" data-travel="play" :disabled="!count" @click="toggle">
          {{ playing ? words.pause : words.play }}</button>
        <label class="look-check"><input type="checkbox" v-model="slow" data-travel="slow"> {{ words.slow }}</label>
        <button type="button" class="look" data-travel="rest" :disabled="!count" @click="go(0)">{{ words.rest }}</button>
        <button type="button" class="look" data-travel="narrowest" :disabled="!count"
          @click="go(data.played.narrowest)">{{ words.narrowest }}</button>
        <button v-for="(label, key) in {behind: words.behind, across: words.across}" :key="key" type="button"
          class="look" :aria-pressed="look === key" :data-travel="key" @click="setLook(key)">{{ label }}</button>
        <select v-if="plans.length > 1" v-model.number="way" @change="load" :aria-label="words.way" data-travel="plan">
          <option v-for="one in plans" :key="one.way" :value="one.way">{{ one.label }}</option>
        </select>
        <span class="viewer-load" role="status">{{ loading }}</span>
      </div>
      <div class="travel-two">
        <figure class="travel-plane"><div ref="plane" v-html="data ? data.plane : ''"></div>
          <figcaption v-if="data">{{ data.views.across.title }}<template v-if="data.note"><br>{{ data.note }}</template></figcaption></figure>
        <div class="travel-solid" ref="stage" @pointerdown="onDown" @pointermove="onMove" @pointerup="held = null">
          <canvas ref="solid"></canvas>
          <div class="travel-words" v-if="data">
            <span class="title">{{ view.title }}</span>
            <span v-for="edge in ['up', 'down', 'left', 'right']" :key="edge" :class="edge">{{ view.edges[edge]
              }}{{ edge === "down" && view.stand_down && !turned ? " · " + words.stand : "" }}</span>
          </div>
        </div>
      </div>
      <p class="travel-reading" :class="{ two: data?.note }" role="status" aria-live="polite" ref="reading">{{ reading }}</p>
      <div class="travel-curve" ref="curve" v-html="data ? data.curve : ''"></div>
      <input class="travel-slider" type="range" min="0" :max="Math.max(0, count - 1)" step="1" v-model.number="pose"
        :disabled="!count" :aria-label="words.where" :aria-valuetext="reading" ref="slider"
        @input="playing = false" :title="words.keys">
    </div>`,
  props: { dataUrl: String, plans: Array, words: Object },
  data() {
    return { data: null, pose: 0, playing: false, slow: false, look: "behind", loading: "", turned: false,
      way: this.plans.length ? this.plans[0].way : 0 };
  },
  computed: {
    count() { return this.data?.played ? this.data.played.clearance_mm.length : 0; },
    reading() {
      if (!this.data) return "";
      return this.count ? this.data.played.words[this.pose] : this.words.none;
    },
    view() { return this.data.views[this.look]; },
  },
  watch: {
    pose() { this.show(); },
    playing(now) { if (now) { this.last = 0; requestAnimationFrame((at) => this.tick(at)); } },
  },
  async mounted() {
    window.vertebloc_travel = () => this; // for tests and measuring
    this.held = null;
    this.painted = 0;
    this.watcher = new ResizeObserver(() => this.draw());
    this.watcher.observe(this.$refs.stage);
    await this.load();
  },
  unmounted() {
    this.playing = false;
    this.watcher?.disconnect();
    this.drawing?.renderer.dispose();
  },
  methods: {
    async load() {
      this.loading = this.words.loading;
      this.playing = false;
      const answer = await fetch(this.dataUrl.replace("{way}", this.way));
      this.loading = "";
      if (!answer.ok) { this.loading = String(answer.status); return; }
      this.data = Object.freeze(await answer.json());
      this.pose = 0;
      if (this.drawing) for (const name of [...this.drawing.parts.keys()]) this.drawing.drop(name);
      this.filled = false;
      await this.$nextTick();
      this.show();
    },
    onKey(event) {
      const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10 }[event.key];
      if (event.target.tagName === "SELECT") return;
      if (event.key === " " && event.target.tagName !== "BUTTON" && event.target.type !== "checkbox") this.toggle();
      else if (step) { this.playing = false; this.go(this.pose + step); }
      else if (event.key === "Home") this.go(0);
      else if (event.key === "End") this.go(this.count - 1);
      else return;
      event.preventDefault();
      event.stopPropagation();
    },
    go(pose) { this.pose = Math.max(0, Math.min(this.count - 1, pose)); },
    toggle() {
      if (!this.count) return;
      if (!this.playing && this.pose === this.count - 1) this.pose = 0;
      this.playing = !this.playing;
    },
    // By the clock, not by the picture: a slow machine shows fewer pictures, not a slower piece.
    tick(at) {
      if (!this.playing) return;
      const along = this.data.played.along_mm;
      if (!this.last) { this.last = at; this.at = along[this.pose]; }
      this.at += ((at - this.last) / 1000) * (this.slow ? SLOW_MM_S : FAST_MM_S);
      this.last = at;
      this.pose = nextPose(along, this.at);
      if (this.pose >= this.count - 1) { this.playing = false; return; }
      requestAnimationFrame((next) => this.tick(next));
    },
    setLook(look) { this.look = look; this.turned = false; this.drawing?.turn.identity(); this.draw(); },
    show() {
      const svg = this.$refs.plane?.querySelector("svg"), played = this.data?.played;
      if (svg && played) {
        const { x0, y0, mm } = Object.fromEntries(Object.entries(svg.dataset).map(([k, v]) => [k, Number(v)]));
        const i = this.pose, place = (p) => [x0 - mm * p[0], y0 - mm * p[1]];
        svg.querySelector(".moving").setAttribute("transform",
          `translate(${-mm * played.x_mm[i]} ${-mm * played.y_mm[i]}) rotate(${played.turn_deg[i]} ${x0} ${y0})`);
        const leans = svg.querySelectorAll(".leans"); // a tilt changes each outline in its own way
        played.leans[i].forEach((matrix, k) => leans[k].setAttribute("transform", matrix));
        const from = place(played.on_piece_mm[i]), to = place(played.on_sac_mm[i]);
        svg.querySelector(".gap").setAttribute("d", `M${from.join(" ")}L${to.join(" ")}`);
        svg.querySelector(".ring").setAttribute("cx", to[0]);
        svg.querySelector(".ring").setAttribute("cy", to[1]);
        const curve = this.$refs.curve.querySelector("svg"), along = played.along_mm;
        const x = Number(curve.dataset.left) + Number(curve.dataset.wide) * along[i] / along[along.length - 1];
        const cursor = curve.querySelector(".cursor");
        cursor.setAttribute("d", cursor.getAttribute("d").replace(/^M[\d.]+/, `M${x.toFixed(1)}`));
      }
      this.draw();
    },
    draw() {
      if (this.waiting || !this.data) return;
      this.waiting = requestAnimationFrame(() => { this.waiting = 0; this.drawNow(); });
    },
    drawNow() {
      const stage = this.$refs.stage;
      if (!stage?.clientWidth || !this.data) return; // hidden: another question is looked at
      if (!this.drawing) this.drawing = new SolidDrawing(this.$refs.solid, THREE);
      if (!this.filled) this.fill();
      const { drawing } = this, played = this.data.played, i = this.pose;
      if (played) {
        for (const name of ["piece", "tumour"]) {
          const part = drawing.parts.get(name);
          if (!part) continue;
          part.matrixAutoUpdate = false;
          part.matrix.set(...moveOf(played.moves[i]));
        }
        this.lit.position.set(...played.on_sac_mm[i]);
      }
      this.lit.visible = Boolean(played);
      const width = stage.clientWidth, height = stage.clientHeight;
      drawing.shown = "";
      drawing.draw(this.view, this.middle, this.spanMm / Math.min(width, height), width, height);
      this.painted += 1;
    },
    fill() {
      for (const mesh of this.data.meshes) this.drawing.put(mesh.name, mesh.kind, meshOf(mesh));
      for (const line of this.data.lines) this.drawing.put(line.name, "root", tubeOf(line));
      if (!this.lit) {
        const ink = new THREE.MeshBasicMaterial({ color: "#ffffff", depthTest: false, transparent: true });
        this.lit = new THREE.Mesh(new THREE.SphereGeometry(1.6, 16, 12), ink);
        this.lit.renderOrder = 10;
        this.drawing.scene.add(this.lit);
      }
      const moves = this.data.played?.moves || [], last = moves[moves.length - 1] || [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
      this.middle = [last[3] / 2, last[7] / 2, last[11] / 2];
      this.spanMm = 110 + Math.hypot(last[3], last[7]);
      this.filled = true;
    },
    onDown(event) { this.held = [event.clientX, event.clientY]; event.target.setPointerCapture?.(event.pointerId); },
    onMove(event) {
      if (!this.held || !this.drawing) return;
      const dx = event.clientX - this.held[0], dy = event.clientY - this.held[1];
      if (Math.hypot(dx, dy) < TURN_PX) return;
      this.held = [event.clientX, event.clientY];
      this.turned = true;
      this.drawing.turnBy(dx, dy);
      this.draw();
    },
  },
};
