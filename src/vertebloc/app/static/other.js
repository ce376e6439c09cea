// Two scans in the same plane: which slice, which way of looking, and places that a person marks.
const NEAR_MM = 4; // a mark is drawn on slices nearer than this
const SVG = "http://www.w3.org/2000/svg";

class OtherScan {
  constructor(root) {
    this.root = root;
    this.state = null;
    this.plane = "side";
    this.mode = "beside";
    this.depth = { ct: 0, second: 0 };
    this.cross = { ct: [0, 0], second: [0, 0] };
    this.asked = 0;
    root.querySelectorAll("button[data-mode]").forEach((button) => button.addEventListener("click", () => this.look(button.dataset.mode)));
    root.querySelector("select").addEventListener("change", (event) => {
      this.plane = event.target.value;
      this.depth = { ct: 0, second: 0 };
      this.cross = { ct: [0, 0], second: [0, 0] };
      this.draw();
    });
    root.querySelectorAll("input[data-depth]").forEach((range) => range.addEventListener("input", () => {
      this.depth[range.dataset.depth] = Number(range.value);
      if (this.together) this.depth.ct = this.depth.second = Number(range.value);
      this.draw();
    }));
    root.querySelector("input[data-divider]").addEventListener("input", () => this.divide());
    root.querySelectorAll("figure").forEach((figure) => this.listen(figure));
    this.read();
  }

  // Once it is laid on the CT both pictures show the same slice.
  get together() { return Boolean(this.state?.laid); }

  async read() {
    const answer = await fetch("/data/other/state.json", { cache: "no-store" });
    const state = await answer.json();
    if (!state.ct) return;
    const laid = this.state ? this.state.laid : null;
    this.state = state;
    this.root.querySelector(".reading")?.remove();
    this.asked += 1;
    if (laid !== null && laid !== state.laid) this.depth = { ct: 0, second: 0 };
    if (!state.laid && this.mode !== "beside") this.look("beside");
    this.draw();
  }

  look(mode) {
    this.mode = this.together ? mode : "beside";
    this.root.dataset.mode = this.mode;
    this.root.querySelectorAll("button[data-mode]").forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.mode === this.mode)));
    this.draw();
  }

  divide() {
    const share = Number(this.root.querySelector("input[data-divider]").value);
    const over = this.root.querySelector("img.over");
    over.style.clipPath = this.mode === "sliding" ? `inset(0 ${100 - share}% 0 0)` : "none";
    const svg = this.root.querySelector("figure[data-what=second] svg");
    svg.querySelector(".edge")?.remove();
    if (this.mode !== "sliding" || !this.state) return;
    const [w, h] = this.state.half;
    const x = (2 * w * share) / 100 - w;
    svg.append(this.shape("line", { x1: x, x2: x, y1: -h, y2: h, class: "edge" }));
  }

  address(what, depth) {
    return `/data/other/${what}.png?plane=${this.plane}&depth=${depth}&n=${this.asked}`;
  }

  draw() {
    if (!this.state) return;
    for (const figure of this.root.querySelectorAll("figure")) {
      const what = figure.dataset.what;
      const depth = this.depth[what];
      figure.querySelector("img").src = this.address(what, depth);
      figure.querySelector("output").textContent = `${depth} mm`;
      figure.querySelector("input").value = depth;
      this.overlay(figure, what);
    }
    const over = this.root.querySelector("img.over");
    if (this.mode === "sliding") over.src = this.address("ct", this.depth.second);
    if (this.mode === "edges") over.src = this.address("edges", this.depth.second);
    for (const button of this.root.querySelectorAll("button[data-mode]")) button.disabled = !this.together && button.dataset.mode !== "beside";
    const caption = this.root.querySelector("figure[data-what=second] figcaption");
    this.name ??= caption.textContent;
    const said = JSON.parse(this.root.dataset.words)[this.mode];
    caption.textContent = said ?? this.name;
    this.divide();
  }

  shape(name, attributes, text = "") {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.textContent = text;
    return made;
  }

  overlay(figure, what) {
    const [w, h] = this.state.half;
    const plane = this.state[what][this.plane];
    const svg = figure.querySelector("svg");
    svg.setAttribute("viewBox", `${-w} ${-h} ${2 * w} ${2 * h}`);
    svg.replaceChildren();
    const edge = plane.edges;
    svg.append(this.shape("text", { x: 0, y: -h + 5, "text-anchor": "middle" }, edge.up));
    svg.append(this.shape("text", { x: 0, y: h - 2, "text-anchor": "middle" }, edge.down));
    svg.append(this.shape("text", { x: -w + 2, y: 0 }, edge.left));
    svg.append(this.shape("text", { x: w - 2, y: 0, "text-anchor": "end" }, edge.right));
    svg.append(this.shape("line", { x1: -w + 3, x2: -w + 23, y1: h - 4, y2: h - 4, class: "ruler" }));
    svg.append(this.shape("text", { x: -w + 3, y: h - 6 }, "20 mm"));
    const [x, y] = this.cross[what];
    if (document.activeElement === figure) {
      svg.append(this.shape("line", { x1: x - 3, x2: x + 3, y1: -y, y2: -y, class: "cross" }));
      svg.append(this.shape("line", { x1: x, x2: x, y1: -y - 3, y2: -y + 3, class: "cross" }));
    }
    const side = what === "ct" ? 0 : 1;
    this.state.pairs.forEach((pair, number) => this.mark(svg, what, plane, this.seen(pair, side), String(number + 1), ""));
    if (what === "ct" && this.state.waiting.length) this.mark(svg, what, plane, this.state.waiting, "?", "waiting");
  }

  // A mark of the second scan is drawn where it lies in its own picture; laid on, where the CT's does.
  seen(pair, side) { return this.together ? pair[0] : pair[side]; }

  mark(svg, what, plane, point, name, kind) {
    const [u, v, d] = plane.rows.map((row, axis) => row[0] * point[0] + row[1] * point[1] + row[2] * point[2] - plane.centre[axis]);
    if (Math.abs(d - this.depth[what]) > NEAR_MM) return;
    svg.append(this.shape("circle", { cx: u, cy: -v, r: 2, class: `mark ${kind}` }));
    svg.append(this.shape("text", { x: u + 2.5, y: -v - 1.5 }, name));
  }

  listen(figure) {
    const what = figure.dataset.what;
    const seen = figure.querySelector(".seen");
    seen.addEventListener("click", (event) => {
      if (!this.state || this.mode !== "beside") return;
      const box = seen.getBoundingClientRect();
      const [w, h] = this.state.half;
      this.cross[what] = [((event.clientX - box.left) / box.width) * 2 * w - w, h - ((event.clientY - box.top) / box.height) * 2 * h];
      this.send(what);
    });
    figure.addEventListener("keydown", (event) => {
      if (event.target !== figure || !this.state) return;
      const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
      if (by) {
        this.cross[what] = this.cross[what].map((place, axis) => place + by[axis]);
        this.overlay(figure, what);
      } else if (event.key === "Enter" && this.mode === "beside") this.send(what);
      else return;
      event.preventDefault();
    });
    for (const change of ["focus", "blur"]) figure.addEventListener(change, () => this.state && this.overlay(figure, what));
  }

  send(what) {
    const plane = this.state[what][this.plane];
    const [u, v] = this.cross[what];
    const at = [u + plane.centre[0], v + plane.centre[1], this.depth[what] + plane.centre[2]];
    const point = [0, 1, 2].map((axis) => at.reduce((sum, value, row) => sum + value * plane.rows[row][axis], 0));
    this.root.dispatchEvent(new CustomEvent("marked", { bubbles: true, detail: { what, point } }));
  }
}

// The page is filled in after this script is read.
const waiting = setInterval(() => {
  const root = document.querySelector(".other");
  if (!root) return;
  clearInterval(waiting);
  window.otherScan = new OtherScan(root);
}, 100);
