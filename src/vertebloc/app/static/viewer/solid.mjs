// The solid picture: bones, tumour, sac and the piece, turned by hand, drawn only on change.
// Bone is solid; tumour and sac that lie behind it shine through, as drawn on the sheet.

// colour, pattern (0 plain, 1 stripes, 2 dots), how much of it shines through what hides it
const LOOK = {
  bone: ["#cfc4ac", 0, 0], rib: ["#cfc4ac", 0, 0], piece: ["#f4ecd9", 0, 0], nibbled: ["#9c8f74", 2, 0],
  tumour: ["#6d2f5e", 1, 0.72], sac: ["#c99a2e", 0, 0.3], cord: ["#f1d58f", 0, 0], vessel: ["#476a78", 0, 0],
  root: ["#f1d58f", 0, 0], "root modelled": ["#f1d58f", 2, 0],
  segmental: ["#7fa7b8", 0, 0], "segmental modelled": ["#7fa7b8", 2, 0],
};
const NEARER = new Set(["piece", "nibbled", "opened"]); // lie in the bone they were cut from: drawn over it

const VERTEX = `varying vec3 n;
void main() { n = normalMatrix * normal;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`;
const FRAGMENT = `uniform vec3 ink; uniform float opacity; uniform int pattern; varying vec3 n;
void main() {
  float light = 0.30 + 0.70 * abs(normalize(n).z);
  vec3 c = ink;
  if (pattern == 1 && fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0) < 0.26) c = vec3(0.85, 0.66, 0.80);
  vec2 cell = fract(gl_FragCoord.xy / 7.0) - 0.5;
  if (pattern == 2 && dot(cell, cell) < 0.045) c = vec3(0.96, 0.94, 0.88);
  gl_FragColor = vec4(c * light, opacity); }`;

// The piece: cut bone tinted by its room to tumour with lines of equal room, as on the carton;
// dotted where nearer than wanted, hatched where tumour is touched. Hardly any shade on cut bone:
// light must not be read as room.
const PIECE_VERTEX = `attribute float margin; attribute float cut;
varying vec3 n; varying float room; varying float isCut;
void main() { n = normalMatrix * normal; room = margin; isCut = cut;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`;
const PIECE_FRAGMENT = `uniform vec3 thin, middle, wide, dissected, tumour, tumourHatch, lineInk;
uniform float widest, wanted, touches, apart;
varying vec3 n; varying float room; varying float isCut;
void main() {
  bool cut = isCut > 0.5;
  float facing = abs(normalize(n).z), light = cut ? 0.85 + 0.15 * facing : 0.30 + 0.70 * facing;
  float place = 2.0 * clamp(room / widest, 0.0, 1.0), wide1 = max(fwidth(room), 1e-4);
  vec3 c = cut ? (place < 1.0 ? mix(thin, middle, place) : mix(middle, wide, place - 1.0)) : dissected;
  if (cut && room > 0.5 * apart) {
    float off = abs(fract(room / apart + 0.5) - 0.5) * apart;
    c = mix(c * 0.62, c, smoothstep(0.4, 1.1, off / wide1));
  }
  vec2 cell = fract(gl_FragCoord.xy / 7.0) - 0.5;
  if (cut && room < wanted && dot(cell, cell) < 0.05) c = vec3(0.96, 0.94, 0.88);
  if (cut && wanted > 0.0) c = mix(lineInk, c, smoothstep(1.0, 1.7, abs(room - wanted) / wide1));
  if (cut ? room < 0.0 : room <= touches) {
    c = fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0) < 0.3 ? tumourHatch : tumour;
  }
  gl_FragColor = vec4(c * light, 1.0); }`;
const OPENED_FRAGMENT = `uniform vec3 ink, hatch; varying vec3 n;
void main() {
  bool one = fract((gl_FragCoord.x + gl_FragCoord.y) / 10.0) < 0.24;
  bool other = fract((gl_FragCoord.x - gl_FragCoord.y) / 10.0) < 0.24;
  gl_FragColor = vec4(one || other ? hatch : ink, 1.0); }`;
const OF_PIECE = new Set(["piece", "opened"]); // what is shown of the piece alone

const rgb = (colour) => [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16) / 255);

export class SolidDrawing {
  constructor(canvas, THREE) {
    this.THREE = THREE;
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true });
    this.renderer.setPixelRatio(1);
    this.renderer.setClearColor("#12191d");
    this.scene = new THREE.Scene();
    this.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, 0.1, 2000);
    this.parts = new Map();
    this.turn = new THREE.Quaternion();
  }

  put(name, kind, mesh, key) {
    this.drop(name);
    const THREE = this.THREE, [colour, pattern, ghost] = LOOK[kind] ?? LOOK.bone;
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(mesh.positions, 3));
    shape.setIndex(new THREE.BufferAttribute(mesh.triangles, 1));
    if (mesh.margins) {
      shape.setAttribute("margin", new THREE.BufferAttribute(mesh.margins, 1));
      shape.setAttribute("cut", new THREE.BufferAttribute(mesh.cut, 1));
    }
    shape.computeVertexNormals();
    const inkOf = (opacity, more) => new THREE.ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: FRAGMENT, side: THREE.DoubleSide,
      uniforms: { ink: { value: rgb(colour) }, opacity: { value: opacity }, pattern: { value: pattern } },
      ...shaders(kind, key), ...more,
    });
    const lifted = NEARER.has(kind)
      ? { polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: kind === "opened" ? -80 : -40 } : {};
    const part = new THREE.Group();
    part.kind = kind;
    part.add(new THREE.Mesh(shape, inkOf(1, lifted)));
    if (ghost) {
      const hidden = { transparent: true, depthWrite: false, depthFunc: THREE.GreaterDepth };
      const shining = new THREE.Mesh(shape, inkOf(ghost, hidden));
      shining.renderOrder = kind === "tumour" ? 3 : 2;
      part.add(shining);
    }
    this.parts.set(name, part);
    this.scene.add(part);
    this.shown = "";
  }

  drop(name) {
    const part = this.parts.get(name);
    if (!part) return;
    this.scene.remove(part);
    part.children[0].geometry.dispose();
    for (const mesh of part.children) mesh.material.dispose();
    this.parts.delete(name);
    this.shown = "";
  }

  // All of it, or the free piece alone.
  showOnly(alone) {
    for (const part of this.parts.values()) part.visible = !alone || OF_PIECE.has(part.kind);
    this.alone = alone;
  }

  turnBy(dx, dy) {
    const THREE = this.THREE;
    const yaw = new THREE.Quaternion().setFromAxisAngle(new THREE.Vector3(0, 1, 0), -dx * 0.008);
    const pitch = new THREE.Quaternion().setFromAxisAngle(new THREE.Vector3(1, 0, 0), -dy * 0.008);
    this.turn.multiply(yaw).multiply(pitch);
  }

  // Axes of the picture after turning by hand, in patient LPS.
  axes(view) {
    const THREE = this.THREE;
    const basis = new THREE.Matrix4().makeBasis(
      new THREE.Vector3(...view.right), new THREE.Vector3(...view.up), new THREE.Vector3(...view.toward));
    const turned = new THREE.Quaternion().setFromRotationMatrix(basis).multiply(this.turn);
    const axis = (x, y, z) => new THREE.Vector3(x, y, z).applyQuaternion(turned).toArray();
    return { quaternion: turned, right: axis(1, 0, 0), up: axis(0, 1, 0), toward: axis(0, 0, 1) };
  }

  // aside: how many pixels to the right of its middle the picture shows its centre
  draw(view, centre, mmPerPixel, width, height, aside = 0) {
    const { quaternion, toward } = this.axes(view), camera = this.camera;
    const wanted = [...quaternion.toArray(), centre, mmPerPixel, width, height, aside, this.alone].join();
    if (wanted === this.shown) return; // drawn by software this takes long: not for a cut that is pulled
    this.shown = wanted;
    this.renderer.setSize(width, height, false);
    camera.left = -(width / 2 + aside) * mmPerPixel; camera.right = (width / 2 - aside) * mmPerPixel;
    camera.top = (height * mmPerPixel) / 2; camera.bottom = -camera.top;
    camera.quaternion.copy(quaternion);
    camera.position.set(...centre).addScaledVector(new this.THREE.Vector3(...toward), 800);
    camera.updateProjectionMatrix();
    this.renderer.render(this.scene, camera);
  }
}

function shaders(kind, key) {
  if (!key || !OF_PIECE.has(kind)) return {};
  const [thin, middle, wide] = key.ramp;
  const colours = kind === "opened" ? { ink: key.opened, hatch: key.opened_hatch }
    : { thin, middle, wide, dissected: key.dissected, tumour: key.tumour, tumourHatch: key.tumour_hatch,
      lineInk: key.line };
  const numbers = kind === "opened" ? {}
    : { widest: key.widest_mm, wanted: key.wanted_mm, touches: key.touches_mm, apart: key.lines_mm };
  const uniforms = {};
  for (const [name, colour] of Object.entries(colours)) uniforms[name] = { value: rgb(colour) };
  for (const [name, value] of Object.entries(numbers)) uniforms[name] = { value };
  return kind === "opened" ? { fragmentShader: OPENED_FRAGMENT, uniforms }
    : { vertexShader: PIECE_VERTEX, fragmentShader: PIECE_FRAGMENT, uniforms };
}
