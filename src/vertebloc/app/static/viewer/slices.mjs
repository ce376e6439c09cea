// One slice of the images in any direction, drawn on the graphics card when something changed.

const VERTEX = `#version 300 es
in vec2 corner; out vec2 at;
void main() { at = corner; gl_Position = vec4(corner, 0.0, 1.0); }`;

const FRAGMENT = `#version 300 es
precision highp float; precision highp sampler3D; precision highp usampler3D;
in vec2 at; out vec4 colour;
uniform sampler3D volume; uniform mat4 texFromLps; uniform vec3 centre, right, up;
uniform vec2 half_mm; uniform vec2 window_hu;
uniform usampler3D outlines; uniform mat4 ijkFromLps; uniform ivec3 sizes;
uniform int active_slot; uniform vec3 inks[8]; uniform float mm;
uint bits(vec3 lps) {
  ivec3 at_voxel = ivec3(floor((ijkFromLps * vec4(lps, 1.0)).xyz + 0.5));
  if (any(lessThan(at_voxel, ivec3(0))) || any(greaterThanEqual(at_voxel, sizes))) return 0u;
  return texelFetch(outlines, at_voxel, 0).r;
}
// Drawn outlines: an edge for each, the one that is drawn on hatched as well.
vec3 inked(vec3 grey, vec3 lps) {
  uint here = bits(lps);
  uint around = bits(lps + right * mm) & bits(lps - right * mm) & bits(lps + up * mm) & bits(lps - up * mm);
  uint edge = here & ~around;
  if (here == 0u) return grey;
  if ((here & (1u << active_slot)) != 0u) {
    float line = mod(gl_FragCoord.x + gl_FragCoord.y, 8.0);
    grey = mix(grey, inks[active_slot], line < 1.5 ? 0.6 : 0.22);
  }
  for (int slot = 0; slot < 8; slot++) if ((edge & (1u << slot)) != 0u) grey = inks[slot];
  return grey;
}
void main() {
  vec3 lps = centre + right * at.x * half_mm.x + up * at.y * half_mm.y;
  vec3 t = (texFromLps * vec4(lps, 1.0)).xyz;
  if (any(lessThan(t, vec3(0.0))) || any(greaterThan(t, vec3(1.0)))) {
    colour = vec4(0.071, 0.098, 0.114, 1.0); return;
  }
  float grey = clamp((texture(volume, t).r - window_hu.x) / (window_hu.y - window_hu.x), 0.0, 1.0);
  vec3 shade = mix(vec3(0.05, 0.075, 0.09), vec3(0.97, 0.95, 0.91), grey);
  colour = vec4(active_slot < 0 ? shade : inked(shade, lps), 1.0);
}`;
const PLACES = ["volume", "texFromLps", "centre", "right", "up", "half_mm", "window_hu", "outlines",
  "ijkFromLps", "sizes", "active_slot", "inks", "mm"];
const rgb = (ink) => [1, 3, 5].map((at) => parseInt((ink || "#ffffff").slice(at, at + 2), 16) / 255);

export class SliceDrawing {
  constructor(canvas) {
    this.canvas = canvas;
    const gl = canvas.getContext("webgl2", { antialias: false, preserveDrawingBuffer: true });
    if (!gl) throw new Error("this browser draws no 3-D textures (WebGL2 is off)");
    this.gl = gl;
    this.program = this.link(VERTEX, FRAGMENT);
    const corners = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, corners);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 2, gl.FLOAT, false, 0, 0);
    this.place = {};
    for (const name of PLACES) this.place[name] = gl.getUniformLocation(this.program, name);
    this.noOutlines = this.byteTexture([1, 1, 1]);
  }

  byteTexture(shape) {
    const gl = this.gl, texture = gl.createTexture();
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_3D, texture);
    gl.texStorage3D(gl.TEXTURE_3D, 1, gl.R8UI, ...shape);
    for (const [name, value] of [
      [gl.TEXTURE_MIN_FILTER, gl.NEAREST], [gl.TEXTURE_MAG_FILTER, gl.NEAREST],
    ]) gl.texParameteri(gl.TEXTURE_3D, name, value);
    gl.activeTexture(gl.TEXTURE0);
    return texture;
  }

  // Drawn outlines lie beside the images: a byte a voxel, a bit an outline.
  openOutlines(grid, bytes) {
    this.gl.deleteTexture(this.outlines ?? null);
    this.outlines = this.byteTexture(grid.shape);
    this.outlineGrid = grid;
    this.outlineBytes = bytes;
  }

  // A box of them goes to the card as it lies in the bytes.
  sendOutlines(low, high) {
    const gl = this.gl, [ni, nj] = this.outlineGrid.shape, size = high.map((end, axis) => end - low[axis]);
    if (Math.min(...size) < 1) return;
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_3D, this.outlines);
    const skips = [[gl.UNPACK_ALIGNMENT, 1], [gl.UNPACK_ROW_LENGTH, ni], [gl.UNPACK_IMAGE_HEIGHT, nj],
      [gl.UNPACK_SKIP_PIXELS, low[0]], [gl.UNPACK_SKIP_ROWS, low[1]], [gl.UNPACK_SKIP_IMAGES, low[2]]];
    for (const [name, value] of skips) gl.pixelStorei(name, value);
    gl.texSubImage3D(gl.TEXTURE_3D, 0, ...low, ...size, gl.RED_INTEGER, gl.UNSIGNED_BYTE, this.outlineBytes);
    for (const [name] of skips.slice(1)) gl.pixelStorei(name, 0);
    gl.activeTexture(gl.TEXTURE0);
  }

  link(...sources) {
    const gl = this.gl, program = gl.createProgram();
    sources.forEach((source, i) => {
      const shader = gl.createShader(i ? gl.FRAGMENT_SHADER : gl.VERTEX_SHADER);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    });
    gl.bindAttribLocation(program, 0, "corner");
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) {
      throw new Error(gl.getProgramInfoLog(program));
    }
    return program;
  }

  // A large volume is shown from every second voxel first, then whole.
  async load(meta, { onProgress, onShown, signal }) {
    this.windowHu = this.windowHu ?? [...meta.window_hu];
    if (meta.coarse) {
      await this.fetchInto(meta.coarse, { signal });
      onShown?.();
    }
    await this.fetchInto(meta, { onProgress, signal });
    onShown?.();
  }

  // Half-floats arrive slice by slice and go to the card some slices at a time; the texture shown
  // until then stays until all are there.
  async fetchInto({ url, shape: [ni, nj, nk], tex_from_lps }, { onProgress, signal }) {
    const gl = this.gl;
    const answer = await fetch(url, { signal });
    if (!answer.ok) throw new Error(await answer.text());
    const texture = gl.createTexture();
    gl.bindTexture(gl.TEXTURE_3D, texture);
    gl.texStorage3D(gl.TEXTURE_3D, 1, gl.R16F, ni, nj, nk);
    for (const [name, value] of [
      [gl.TEXTURE_MIN_FILTER, gl.LINEAR], [gl.TEXTURE_MAG_FILTER, gl.LINEAR],
      [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE],
      [gl.TEXTURE_WRAP_R, gl.CLAMP_TO_EDGE],
    ]) gl.texParameteri(gl.TEXTURE_3D, name, value);
    const reader = answer.body.getReader();
    const bytesPerSlice = ni * nj * 2, slab = new Uint8Array(bytesPerSlice * Math.min(8, nk));
    let filled = 0, next = 0;
    const flush = () => {
      const slices = Math.floor(filled / bytesPerSlice);
      if (!slices) return;
      gl.bindTexture(gl.TEXTURE_3D, texture);
      gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);
      gl.texSubImage3D(gl.TEXTURE_3D, 0, 0, 0, next, ni, nj, slices, gl.RED, gl.HALF_FLOAT,
        new Uint16Array(slab.buffer, 0, slices * ni * nj));
      next += slices;
      slab.copyWithin(0, slices * bytesPerSlice, filled);
      filled -= slices * bytesPerSlice;
    };
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      for (let from = 0; from < value.length;) {
        const part = value.subarray(from, from + slab.length - filled);
        slab.set(part, filled);
        filled += part.length;
        from += part.length;
        if (filled === slab.length) flush();
      }
      onProgress?.(next / nk);
    }
    flush();
    if (next !== nk) {
      gl.deleteTexture(texture);
      throw new Error(`the images broke off after ${next} of ${nk} slices: load the page again`);
    }
    gl.deleteTexture(this.texture ?? null);
    this.texture = texture;
    this.texFromLps = new Float32Array(tex_from_lps);
  }

  // The same slice is not drawn twice: while a cut is pulled only what lies over it moves.
  // marks: {slot, inks} to show drawn outlines, the slot being drawn on; none: images alone.
  // box: {x, y, width, height} in pixels from the top left, if nothing else has changed.
  draw(view, centre, mmPerPixel, marks = null, box = null) {
    const gl = this.gl, { canvas } = this;
    const wanted = marks ? "" : [view.right, view.up, centre, mmPerPixel, this.windowHu, canvas.width, canvas.height].join();
    if (wanted && wanted === this.shown && this.shownOf === this.texture) return;
    this.shown = wanted;
    this.shownOf = this.texture;
    if (box) {
      gl.enable(gl.SCISSOR_TEST);
      gl.scissor(Math.floor(box.x), Math.floor(canvas.height - box.y - box.height), Math.ceil(box.width) + 1,
        Math.ceil(box.height) + 1);
    } else gl.disable(gl.SCISSOR_TEST);
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0.071, 0.098, 0.114, 1);
    gl.clear(gl.COLOR_BUFFER_BIT);
    if (!this.texture) return;
    gl.useProgram(this.program);
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_3D, this.texture);
    gl.uniform1i(this.place.volume, 0);
    gl.uniformMatrix4fv(this.place.texFromLps, true, this.texFromLps);
    gl.uniform3fv(this.place.centre, centre);
    gl.uniform3fv(this.place.right, view.right);
    gl.uniform3fv(this.place.up, view.up);
    gl.uniform2f(this.place.half_mm, (canvas.width * mmPerPixel) / 2, (canvas.height * mmPerPixel) / 2);
    gl.uniform2fv(this.place.window_hu, this.windowHu);
    const shown = marks && this.outlines;
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_3D, shown ? this.outlines : this.noOutlines);
    gl.uniform1i(this.place.outlines, 1);
    gl.uniform1i(this.place.active_slot, shown ? marks.slot : -1);
    if (shown) {
      gl.uniformMatrix4fv(this.place.ijkFromLps, true, this.outlineGrid.ijk);
      gl.uniform3iv(this.place.sizes, this.outlineGrid.shape);
      gl.uniform3fv(this.place.inks, [...Array(8).keys()].flatMap((slot) => rgb(marks.inks[slot])));
      gl.uniform1f(this.place.mm, mmPerPixel);
    }
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }
}
