// The solid picture: bones, tumour, sac and the piece, turned by hand, drawn only on change.

const LOOK = {
  bone: ["#e2d8c2", 0.38], rib: ["#e2d8c2", 0.55], piece: ["#f4ecd9", 0.62], nibbled: ["#9c8f74", 0.5],
  tumour: ["#6d2f5e", 1], sac: ["#c99a2e", 1], cord: ["#f1d58f", 1], vessel: ["#476a78", 0.9],
};

const VERTEX = `varying vec3 n; varying vec3 at;
void main() { n = normalMatrix * normal; at = position;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`;
const FRAGMENT = `uniform vec3 ink; uniform float opacity; uniform float hatch; varying vec3 n; varying vec3 at;
void main() {
  float light = 0.35 + 0.65 * abs(normalize(n).z);
  vec3 c = ink * light;
  if (hatch > 0.5 && fract((at.x + at.y + at.z) / 3.0) < 0.28) c = vec3(0.72, 0.50, 0.66) * light;
  gl_FragColor = vec4(c, opacity); }`;

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

  put(name, kind, mesh) {
    this.drop(name);
    const THREE = this.THREE, [colour, opacity] = LOOK[kind] ?? LOOK.bone;
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(mesh.positions, 3));
    shape.setIndex(new THREE.BufferAttribute(mesh.triangles, 1));
    shape.computeVertexNormals();
    const ink = new THREE.Color(colour).convertLinearToSRGB();
    const material = new THREE.ShaderMaterial({
      vertexShader: VERTEX, fragmentShader: FRAGMENT, side: THREE.DoubleSide,
      transparent: opacity < 1, depthWrite: opacity >= 1,
      uniforms: {
        ink: { value: [ink.r, ink.g, ink.b] }, opacity: { value: opacity },
        hatch: { value: kind === "tumour" ? 1 : 0 },
      },
    });
    const part = new THREE.Mesh(shape, material);
    part.renderOrder = opacity < 1 ? 2 : 1;
    this.parts.set(name, part);
    this.scene.add(part);
  }

  drop(name) {
    const part = this.parts.get(name);
    if (!part) return;
    this.scene.remove(part);
    part.geometry.dispose();
    part.material.dispose();
    this.parts.delete(name);
  }

  show(name, wanted) {
    if (this.parts.has(name)) this.parts.get(name).visible = wanted;
  }

  // Flat faces and lines of the cuts: [{points: [[x,y,z]..], colour, opacity}]
  putFaces(faces) {
    const THREE = this.THREE;
    for (const old of this.faces ?? []) { this.scene.remove(old); old.geometry.dispose(); }
    this.faces = faces.map(({ points, colour, line }) => {
      const shape = new THREE.BufferGeometry().setFromPoints(points.map((p) => new THREE.Vector3(...p)));
      const drawn = new THREE.LineLoop(shape, new THREE.LineBasicMaterial({ color: colour, linewidth: line ?? 1 }));
      drawn.renderOrder = 3;
      drawn.material.depthTest = false;
      this.scene.add(drawn);
      return drawn;
    });
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

  draw(view, centre, mmPerPixel, width, height) {
    this.renderer.setSize(width, height, false);
    const { quaternion, toward } = this.axes(view), camera = this.camera;
    camera.left = (-width * mmPerPixel) / 2; camera.right = -camera.left;
    camera.top = (height * mmPerPixel) / 2; camera.bottom = -camera.top;
    camera.quaternion.copy(quaternion);
    camera.position.set(...centre).addScaledVector(new this.THREE.Vector3(...toward), 800);
    camera.updateProjectionMatrix();
    this.renderer.render(this.scene, camera);
  }
}
