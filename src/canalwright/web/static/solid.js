// Three dimensions, for machines without a graphics card too: every body at several finenesses; while it turns the finest one that the
// machine draws in time is shown, at rest the whole. Light is reckoned at the corners, not for every pixel, which software can do faster.

const FRAME = 1000 / 30, REST = 220, BACK = 0.62; // ms for a frame; ms of rest before the whole is drawn; share of a frame that lets a finer level in
const VERTEX = `
  attribute float share; attribute vec2 way; varying vec2 about; varying float light; varying float at; varying vec3 place;
  void main() {
    vec4 seen = modelViewMatrix * vec4(position, 1.0); vec3 n = normalize(normalMatrix * normal);
    float turned = dot(n, normalize(-seen.xyz)) < 0.0 ? -1.0 : 1.0;
    light = 0.42 + 0.5 * max(dot(n * turned, normalize(vec3(-0.35, 0.55, 0.75))), 0.0) + 0.16 * max(dot(n * turned, normalize(vec3(0.8, -0.2, 0.3))), 0.0);
    at = share; about = way; place = position; gl_Position = projectionMatrix * seen;
  }`;
const FRAGMENT = `
  uniform vec3 colour; uniform float opacity; uniform float painted; uniform sampler2D map; uniform vec4 cut; varying vec2 about; varying float light; varying float at; varying vec3 place;
  void main() {
    if (cut.w > -900.0 && dot(place, cut.xyz) > cut.w) discard;
    float turn = dot(about, about) > 0.0 ? atan(about.y, about.x) / 6.2831853 : 0.5;
    gl_FragColor = vec4(mix(colour, texture2D(map, vec2(at, turn)).rgb, painted) * light, opacity);
  }`;

export class Solid {
  // Builds the picture in `host`; `words` has nowebgl, triangles, still, turnable. `bodies` come with `set`.
  static async make(host, words) {
    const { THREE } = await import("/three/index.js");
    return new Solid(host, words, THREE);
  }

  constructor(host, words, THREE) {
    Object.assign(this, { host, words, THREE });
    this.bodies = new Map(); this.level = 1; this.took = []; this.drawn = 0; this.turn = [0.5, 0.12]; this.far = 1;
    this.canvas = document.createElement("canvas");
    Object.assign(this.canvas, { tabIndex: 0 });
    this.canvas.setAttribute("role", "application"); this.canvas.setAttribute("aria-label", words.turnable);
    this.line = Object.assign(document.createElement("p"), { className: "quiet solid-line" });
    this.switches = Object.assign(document.createElement("div"), { className: "solid-switches" });
    const foot = Object.assign(document.createElement("div"), { className: "solid-foot" });
    foot.append(this.switches, this.line);
    host.replaceChildren(this.canvas, foot);
    this.camera = new THREE.PerspectiveCamera(32, 1, 0.1, 2000); this.scene = new THREE.Scene(); this.group = new THREE.Group(); this.scene.add(this.group);
    try {
      this.renderer = window.canalwright?.nowebgl ? null : new THREE.WebGLRenderer({ canvas: this.canvas, antialias: false, alpha: true, powerPreference: "high-performance" });
    } catch { this.renderer = null; }
    if (!this.renderer) { host.append(Object.assign(document.createElement("p"), { className: "solid-none", role: "note", textContent: words.nowebgl })); this.canvas.setAttribute("role", "img"); }
    this.listen();
    new ResizeObserver(() => this.wish()).observe(this.canvas);
  }

  // Bodies: [{name, words, colour, opacity, levels: [{positions, normals, index, shares?}, finer first], shown}]
  set(bodies) {
    const { THREE } = this, box = new THREE.Box3();
    for (const { meshes } of this.bodies.values()) for (const mesh of meshes) { this.group.remove(mesh); mesh.geometry.dispose(); mesh.material.dispose(); }
    const hidden = new Set([...this.bodies.values()].filter((b) => !b.shown).map((b) => b.name));
    this.bodies = new Map(bodies.map((body) => [body.name, this.made({ ...body, shown: (body.shown ?? true) && !hidden.has(body.name) })]));
    for (const { meshes, frames } of this.bodies.values()) if (frames !== false) box.expandByObject(meshes.at(-1));
    this.middle = box.getCenter(new THREE.Vector3()); this.size = box.getSize(new THREE.Vector3()).length() || 1;
    this.group.rotation.x = this.flip ? Math.PI : 0; // the crown of an upper tooth points down
    this.group.position.copy(this.middle).negate().applyEuler(this.group.rotation);
    this.switch();
    this.wish();
  }

  made(body) {
    const { THREE } = this, blank = new THREE.DataTexture(new Uint8Array([255, 255, 255, 255]), 1, 1);
    blank.needsUpdate = true;
    const material = new THREE.ShaderMaterial({ vertexShader: VERTEX, fragmentShader: FRAGMENT, side: THREE.DoubleSide, transparent: true, depthWrite: (body.opacity ?? 1) >= 1,
      uniforms: { colour: { value: new THREE.Color(body.colour) }, opacity: { value: body.opacity ?? 1 }, painted: { value: 0 }, map: { value: blank }, cut: { value: new THREE.Vector4(0, 0, 0, -999) } } });
    material.uniforms.colour.value.convertLinearToSRGB();
    body.meshes = body.levels.map((level) => {
      const mesh = new THREE.Mesh(this.geometry(level), material);
      mesh.renderOrder = body.opacity < 1 ? 0 : 1; mesh.visible = false; // what is like glass first, what is inside it over it
      this.group.add(mesh);
      return mesh;
    });
    body.material = material;
    return body;
  }

  geometry(level) {
    const { THREE } = this, made = new THREE.BufferGeometry();
    made.setAttribute("position", new THREE.BufferAttribute(level.positions, 3)); made.setAttribute("normal", new THREE.BufferAttribute(level.normals, 3));
    made.setAttribute("share", new THREE.BufferAttribute(level.shares ?? new Float32Array(level.positions.length / 3), 1)); made.setAttribute("way", new THREE.BufferAttribute(level.ways ?? new Float32Array((2 * level.positions.length) / 3), 2)); made.setIndex(new THREE.BufferAttribute(level.index, 1));
    return made;
  }

  // Another shape of a body that is there (an instrument that moved).
  reshape(name, level) {
    const body = this.bodies.get(name);
    if (!body) return;
    body.away = !level;
    if (level) for (const mesh of body.meshes) { mesh.geometry.dispose(); mesh.geometry = this.geometry(level); }
    this.wish();
  }

  // Colours along a body, from its first station to its last, and in as many rows round it, from its greatest width on; none takes them off.
  paint(name, colours, rows = 1) {
    const body = this.bodies.get(name), { THREE } = this;
    if (!body) return;
    const { map, painted } = body.material.uniforms;
    painted.value = colours ? 1 : 0;
    if (colours) {
      const bytes = new Uint8Array(4 * colours.length);
      colours.forEach((c, i) => { const v = Number.parseInt(c.slice(1), 16); bytes.set([v >> 16, (v >> 8) & 255, v & 255, 255], 4 * i); });
      if (map.value.image.width * rows !== colours.length || map.value.image.height !== rows) { map.value.dispose(); map.value = new THREE.DataTexture(bytes, colours.length / rows, rows); map.value.magFilter = map.value.minFilter = THREE.LinearFilter; map.value.wrapT = THREE.RepeatWrapping; } else map.value.image.data.set(bytes);
      map.value.needsUpdate = true;
    }
    this.wish();
  }

  opacity(name, value, cut = null) {
    const body = this.bodies.get(name);
    if (!body) return;
    body.material.uniforms.opacity.value = value; body.material.depthWrite = value >= 1;
    body.material.uniforms.cut.value.set(...(cut ?? [0, 0, 0, -999]));
    for (const mesh of body.meshes) mesh.renderOrder = value < 1 ? 0 : 1;
    this.wish();
  }

  switch() {
    this.switches.replaceChildren(...[...this.bodies.values()].filter((b) => b.words).map((body) => {
      const label = document.createElement("label"), box = Object.assign(document.createElement("input"), { type: "checkbox", checked: body.shown });
      box.addEventListener("change", () => { body.shown = box.checked; this.wish(); });
      label.append(box, Object.assign(document.createElement("i"), { style: `background:${body.colour}` }), body.words);
      return label;
    }));
  }

  listen() {
    const { canvas } = this, fingers = new Map();
    canvas.addEventListener("pointerdown", (event) => { canvas.focus({ preventScroll: true }); canvas.setPointerCapture(event.pointerId); fingers.set(event.pointerId, [event.clientX, event.clientY]); });
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = [event.clientX, event.clientY];
      if (fingers.size === 2) {
        const [other] = [...fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at), far = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]) || 1;
        this.zoom(far(before) / far(now));
      } else this.orbit((now[0] - before[0]) / 160, (now[1] - before[1]) / 160);
      fingers.set(event.pointerId, now);
    });
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => fingers.delete(event.pointerId));
    canvas.addEventListener("wheel", (event) => { event.preventDefault(); this.zoom(Math.exp(event.deltaY / 900)); }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const moves = { ArrowLeft: () => this.orbit(-0.15, 0), ArrowRight: () => this.orbit(0.15, 0), ArrowUp: () => this.orbit(0, -0.15), ArrowDown: () => this.orbit(0, 0.15),
        "+": () => this.zoom(0.85), "=": () => this.zoom(0.85), "-": () => this.zoom(1.18), Home: () => { this.turn = [0.5, 0.12]; this.far = 1; this.moved(); } };
      if (!moves[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault(); event.stopPropagation();
      moves[event.key]();
    });
  }

  orbit(dx, dy) { this.turn = [this.turn[0] - dx, Math.min(Math.max(this.turn[1] + dy, -1.5), 1.5)]; this.moved(); }
  zoom(factor) { this.far = Math.min(Math.max(this.far * factor, 0.15), 4); this.moved(); }

  // Something moves: what can be drawn in time, until it rests.
  moved() {
    this.moving = performance.now();
    clearTimeout(this.resting);
    this.resting = setTimeout(() => { this.moving = 0; this.took = []; this.wish(); }, REST);
    this.wish();
  }

  wish() {
    if (this.wished || this.stopped) return;
    this.wished = true;
    requestAnimationFrame((now) => { this.wished = false; this.draw(now); });
  }

  triangles(level) { return [...this.bodies.values()].reduce((sum, b) => sum + (b.shown && !b.away ? b.levels[Math.min(level, b.levels.length - 1)].index.length / 3 : 0), 0); }
  get coarsest() { return Math.max(0, ...[...this.bodies.values()].map((b) => b.levels.length - 1)); }

  draw(now) {
    const { canvas, camera } = this, wide = canvas.clientWidth, high = canvas.clientHeight;
    if (!wide || !high || !this.bodies.size) return;
    const level = this.moving ? Math.min(this.level, this.coarsest) : 0, sharp = Math.min(window.devicePixelRatio || 1, 2) * (this.moving ? (this.fine ?? 1) : 1);
    const [around, up] = this.turn, far = (this.size * 0.62 * this.far) / Math.tan((camera.fov * Math.PI) / 360) / Math.min(1, wide / high) ** 0.5;
    camera.aspect = wide / high; camera.up.set(0, 0, 1);
    camera.position.set(far * Math.cos(up) * Math.sin(around), -far * Math.cos(up) * Math.cos(around), far * Math.sin(up)); camera.lookAt(0, 0, 0); camera.updateProjectionMatrix();
    for (const body of this.bodies.values()) body.meshes.forEach((mesh, i) => { mesh.visible = body.shown && !body.away && i === Math.min(level, body.meshes.length - 1); });
    if (!this.renderer) return this.still(wide, high);
    this.renderer.setPixelRatio(sharp); this.renderer.setSize(wide, high, false);
    this.renderer.render(this.scene, camera);
    this.drawn++;
    if (this.moving) this.judge(now);
    const all = this.triangles(0), frames = this.took.length > 4 ? 1000 / this.mean() : 0;
    this.line.textContent = this.moving && frames ? this.fill(this.words.triangles, { shown: this.triangles(level), all, frames: Math.round(frames) }) : this.fill(this.words.still, { all });
  }

  fill(text, values) { return text.replace(/\{(\w+)\}/g, (_, name) => values[name].toLocaleString("en").replaceAll(",", "\u202f")); }
  mean() { return this.took.reduce((sum, v) => sum + v, 0) / this.took.length; }

  // Frames too slow: a coarser level, then fewer pixels; quick ones: back again.
  judge(now) {
    if (this.before && now - this.before < 400) { this.took.push(now - this.before); if (this.took.length > 12) this.took.shift(); }
    this.before = now;
    if (this.took.length < 6) return;
    const mean = this.mean();
    if (mean > FRAME * 1.05) {
      if (this.level < this.coarsest) this.level++; else this.fine = Math.max((this.fine ?? 1) * 0.8, 0.4);
      this.took = [];
    } else if (mean < FRAME * BACK && !this.patient) {
      if ((this.fine ?? 1) < 1) this.fine = Math.min((this.fine ?? 1) * 1.2, 1); else if (this.level > 0) this.level--;
      this.took = []; this.patient = true;
      setTimeout(() => { this.patient = false; }, 1500);
    }
  }

  // Without WebGL: the coarsest level, painted from back to front, once.
  still(wide, high) {
    const { THREE, canvas, camera, group } = this, context = canvas.getContext("2d"), faces = [], v = new THREE.Vector3();
    canvas.width = wide; canvas.height = high;
    group.updateMatrixWorld(); camera.updateMatrixWorld();
    for (const body of this.bodies.values()) {
      if (!body.shown || body.away) continue;
      const { positions, index, normals } = body.levels.at(-1), seen = [], base = new THREE.Color(body.colour), light = new THREE.Vector3(-0.35, -0.75, 0.55).normalize();
      for (let i = 0; i < positions.length; i += 3) { v.set(positions[i], positions[i + 1], positions[i + 2]).applyMatrix4(group.matrixWorld).project(camera); seen.push([(v.x * 0.5 + 0.5) * wide, (0.5 - v.y * 0.5) * high, v.z]); }
      for (let i = 0; i < index.length; i += 3) {
        const [a, b, c] = [index[i], index[i + 1], index[i + 2]], shade = 0.5 + 0.5 * Math.abs(normals[3 * a] * light.x + normals[3 * a + 1] * light.y + normals[3 * a + 2] * light.z);
        faces.push({ points: [seen[a], seen[b], seen[c]], depth: seen[a][2] + seen[b][2] + seen[c][2], colour: `rgb(${["r", "g", "b"].map((k) => Math.round(255 * Math.min(base[k] ** (1 / 2.2) * shade, 1))).join(" ")} / ${body.opacity ?? 1})` });
      }
    }
    faces.sort((p, q) => q.depth - p.depth);
    for (const { points, colour } of faces) { context.fillStyle = colour; context.beginPath(); points.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y))); context.fill(); }
    this.line.textContent = this.fill(this.words.still, { all: faces.length });
  }

  stop() { this.stopped = true; }
  resume() { this.stopped = false; this.wish(); }
}
