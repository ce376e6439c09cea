// Plays a plan from one file on disk: no network, nothing but what stands in the file itself.
// The picture is drawn by the same code as in the planning pages.

import { THREE } from "three-drawing";
import { SolidDrawing } from "solid-drawing";
import { decodeMesh, edgesOf, poseAt, shownAt } from "player-maths";

const plan = JSON.parse(document.getElementById("plan").textContent);
const byId = (id) => document.getElementById(id);
const stage = byId("stage"), BLADE_INK = [0.34, 0.76, 0.73], SECONDS_A_STEP = 4;
const CLOSEST = 0.05, FARTHEST = 1.2;

// follows: each step is shown from where it is seen best, until the picture is turned by hand
const state = { follows: true, step: 0, share: 0, playing: false, turned: false, view: plan.steps[0].view, mmPerPixel: plan.mm_per_pixel,
  centre: [...plan.centre], drawn: 0 };
window.vertebloc_player = () => state; // for tests

let drawing;
try {
  drawing = new SolidDrawing(byId("picture"), THREE);
} catch (error) {
  byId("no-picture").hidden = false;
  throw error;
}
for (const part of plan.parts) {
  drawing.put(part.name, part.kind, decodeMesh(part));
  if (part.kind === "blade") {
    shineThrough(drawing.parts.get(part.name));
  }
}
// A cut is seen through the bone that it goes through.
function shineThrough(group) {
  const [sheet] = group.children;
  sheet.material.uniforms.ink.value = BLADE_INK;
  const hidden = sheet.material.clone();
  hidden.uniforms.opacity.value = 0.5;
  Object.assign(hidden, { transparent: true, depthWrite: false, depthFunc: THREE.GreaterDepth });
  const ghost = new THREE.Mesh(sheet.geometry, hidden);
  ghost.renderOrder = 1;
  group.add(ghost);
}

// what each part looks like, and whole bone, which it looks like until the cuts are shown
const BONE_LIKE = new Set(["piece", "nibbled"]);
const looks = new Map(plan.parts.map(({ name }) => {
  const { ink, pattern } = drawing.parts.get(name).children[0].material.uniforms;
  return [name, { ink: ink.value, pattern: pattern.value }];
}));
const bone = looks.get(plan.parts.find((part) => part.kind === "bone")?.name);
const middle = new THREE.Vector3(...plan.middle_of_piece);
const moving = plan.parts.filter((part) => part.moves).map((part) => part.name);

function pose(share) {
  const { quaternion, position } = poseAt(plan.poses, share, middle, THREE);
  const matrix = new THREE.Matrix4().makeTranslation(middle.x + position.x, middle.y + position.y, middle.z + position.z);
  matrix.multiply(new THREE.Matrix4().makeRotationFromQuaternion(quaternion));
  return matrix.multiply(new THREE.Matrix4().makeTranslation(-middle.x, -middle.y, -middle.z));
}

function lay() {
  const step = plan.steps[state.step], shown = shownAt(plan.steps, state.step, state.share);
  const matrix = pose(step.moves ? state.share : state.step > plan.move_step ? 1 : 0);
  state.pose = matrix.toArray();
  for (const part of plan.parts) {
    const group = drawing.parts.get(part.name);
    group.visible = shown.has(part.kind);
    if (BONE_LIKE.has(part.kind) && bone) {
      const look = step.plain ? bone : looks.get(part.name), { uniforms } = group.children[0].material;
      uniforms.ink.value = look.ink;
      uniforms.pattern.value = look.pattern;
    }
    if (!moving.includes(part.name)) continue;
    group.matrixAutoUpdate = false;
    group.matrix.copy(matrix);
    group.matrixWorldNeedsUpdate = true;
  }
  drawing.shown = "";
}

let asked = 0;
function draw() {
  if (!asked) asked = requestAnimationFrame(drawNow);
}
function drawNow() {
  asked = 0;
  const width = stage.clientWidth, height = stage.clientHeight;
  if (!width || !height) return;
  const view = plan.views[state.view];
  drawing.draw(view, state.centre, state.mmPerPixel, width, height);
  const edges = edgesOf(drawing.axes(view), plan.frame, plan.words.directions);
  state.edges = edges;
  for (const [edge, words] of Object.entries(edges)) byId(`edge-${edge}`).textContent = words;
  const bar = byId("bar");
  bar.style.width = `${20 / state.mmPerPixel}px`;
  state.drawn += 1;
}

function say() {
  const step = plan.steps[state.step];
  byId("step-title").textContent = step.title;
  byId("step-words").replaceChildren(...step.words.map((words) => {
    const row = document.createElement("p");
    row.textContent = words;
    return row;
  }));
  byId("place").textContent = `${state.step + 1} / ${plan.steps.length}`;
  byId("slider").value = String(Math.round(1000 * (state.step + state.share) / plan.steps.length));
  byId("slider").setAttribute("aria-valuetext", step.title);
  byId("play").textContent = state.playing ? plan.words.pause : plan.words.play;
  byId("play").setAttribute("aria-pressed", String(state.playing));
  for (const button of document.querySelectorAll("[data-view]")) {
    button.setAttribute("aria-pressed", String(button.dataset.view === state.view && !state.turned));
  }
}

function show(step, share = 0) {
  state.step = Math.min(Math.max(step, 0), plan.steps.length - 1);
  state.share = Math.min(Math.max(share, 0), 1);
  if (state.follows) state.view = plan.steps[state.step].view;
  lay();
  say();
  draw();
}

let before = 0;
function tick(now) {
  if (!state.playing) return;
  const gone = Math.min(0.2, (now - before) / 1000) / (plan.steps[state.step].seconds ?? SECONDS_A_STEP);
  before = now;
  if (state.share + gone < 1) show(state.step, state.share + gone);
  else if (state.step + 1 < plan.steps.length) show(state.step + 1);
  else {
    state.playing = false;
    show(state.step, 1);
  }
  if (state.playing) requestAnimationFrame(tick);
}
function play(on) {
  state.playing = on;
  if (on && state.step === plan.steps.length - 1 && state.share >= 1) show(0);
  before = performance.now();
  if (on) requestAnimationFrame(tick);
  say();
}
function go(by) {
  play(false);
  // a step that moves is first shown at its end, so that pressing on always shows something new
  const to = state.step + by;
  if (by > 0 && plan.steps[state.step].moves && state.share < 1) show(state.step, 1);
  else if (to >= 0 && to < plan.steps.length) show(to);
}
function zoom(factor) {
  state.mmPerPixel = Math.min(FARTHEST, Math.max(CLOSEST, state.mmPerPixel * factor));
  draw();
}
function turnTo(view) {
  state.follows = state.turned = false;
  state.view = view;
  drawing.turn.identity();
  say();
  draw();
}
function home() {
  state.centre = [...plan.centre];
  state.mmPerPixel = plan.mm_per_pixel;
  drawing.turn.identity();
  state.turned = false;
  state.follows = true;
  show(state.step, state.share);
}
function turn(dx, dy) {
  state.follows = false;
  if (!state.turned) {
    state.turned = true; // no longer any of the named views
    say();
  }
  drawing.turnBy(dx, dy);
  draw();
}

byId("play").onclick = () => play(!state.playing);
byId("back").onclick = () => go(-1);
byId("next").onclick = () => go(1);
byId("home").onclick = home;
byId("slider").oninput = (event) => {
  const at = (Number(event.target.value) / 1000) * plan.steps.length; // before it is set anew
  play(false);
  const step = Math.min(plan.steps.length - 1, Math.floor(at));
  show(step, at - step);
};
for (const button of document.querySelectorAll("[data-view]")) button.onclick = () => turnTo(button.dataset.view);

let held = null;
stage.onpointerdown = (event) => {
  if (event.button !== 0) return;
  stage.setPointerCapture(event.pointerId);
  held = [event.clientX, event.clientY];
};
stage.onpointermove = (event) => {
  if (!held) return;
  turn(event.clientX - held[0], event.clientY - held[1]);
  held = [event.clientX, event.clientY];
};
stage.onpointerup = stage.onpointercancel = () => { held = null; };
stage.addEventListener("wheel", (event) => {
  event.preventDefault();
  zoom(Math.exp(event.deltaY * (event.deltaMode === 1 ? 17 : 1) * 0.0012));
}, { passive: false });
document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const inSlider = event.target === byId("slider"), onButton = event.target.tagName === "BUTTON";
  if (inSlider && event.key.startsWith("Arrow")) return;
  if (onButton && (event.key === " " || event.key === "Enter")) return;
  const done = { ArrowLeft: () => turn(-11, 0), ArrowRight: () => turn(11, 0), ArrowUp: () => turn(0, -11),
    ArrowDown: () => turn(0, 11), "+": () => zoom(0.9), "=": () => zoom(0.9), "-": () => zoom(1 / 0.9),
    n: () => go(1), PageDown: () => go(1), b: () => go(-1), PageUp: () => go(-1),
    " ": () => play(!state.playing), Home: home }[event.key];
  if (!done) return;
  event.preventDefault();
  done();
});
new ResizeObserver(draw).observe(stage);
document.documentElement.dataset.ready = "yes";
show(0);
