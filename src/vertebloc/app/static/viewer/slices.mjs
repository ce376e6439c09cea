// One slice of the images in any direction, drawn on the graphics card when something changed.

const VERTEX = `#version 300 es
in vec2 corner; out vec2 at;
void main() { at = corner; gl_Position = vec4(corner, 0.0, 1.0); }`;

const FRAGMENT = `#version 300 es
precision highp float; precision highp sampler3D;
in vec2 at; out vec4 colour;
uniform sampler3D volume; uniform mat4 texFromLps; uniform vec3 centre, right, up;
uniform vec2 half_mm; uniform vec2 window_hu;
void main() {
  vec3 lps = centre + right * at.x * half_mm.x + up * at.y * half_mm.y;
  vec3 t = (texFromLps * vec4(lps, 1.0)).xyz;
  if (any(lessThan(t, vec3(0.0))) || any(greaterThan(t, vec3(1.0)))) {
    colour = vec4(0.071, 0.098, 0.114, 1.0); return;
  }
  float grey = clamp((texture(volume, t).r - window_hu.x) / (window_hu.y - window_hu.x), 0.0, 1.0);
  colour = vec4(mix(vec3(0.05, 0.075, 0.09), vec3(0.97, 0.95, 0.91), grey), 1.0);
}`;

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
    for (const name of ["volume", "texFromLps", "centre", "right", "up", "half_mm", "window_hu"]) {
      this.place[name] = gl.getUniformLocation(this.program, name);
    }
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
  draw(view, centre, mmPerPixel) {
    const gl = this.gl, { canvas } = this;
    const wanted = [view.right, view.up, centre, mmPerPixel, this.windowHu, canvas.width, canvas.height].join();
    if (wanted === this.shown && this.shownOf === this.texture) return;
    this.shown = wanted;
    this.shownOf = this.texture;
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
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }
}
