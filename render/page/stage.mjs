// The picture: camera without perspective, surface, and what lies over it.
import { OrthographicCamera, Plane, Raycaster, Scene, Vector2, Vector3, Quaternion, Matrix4, WebGLRenderer } from 'three';
import { Body } from './body.mjs';
import { Depth } from './depth.mjs';

export class Stage extends EventTarget {
  constructor(element, canvas, data, surfaces) {
    super();
    this.element = element;
    this.data = data;
    this.renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.setClearAlpha(0);
    this.renderer.localClippingEnabled = true;
    this.scene = new Scene();
    this.camera = new OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
    this.centre = new Vector3();
    this.turn = new Quaternion(); // of the camera
    this.apart = 0; // mm, how far the bodies are opened
    this.half = 40; // half the smaller side of the picture, mm
    this.pixels = 10; // per mm
    this.cut = new Plane(new Vector3(1, 0, 0), 0);
    this.kept = new Plane(); // what lies behind the cut is on its positive side

    this.uniforms = { uCut: { value: [1, 0, 0, 0] }, uAway: { value: false }, uTint: { value: true }, uColour: { value: false } };
    this.bodies = surfaces.map((u) => new Body(u, data, this.uniforms));
    for (const b of this.bodies) this.scene.add(b.mesh);
    this.radius = Math.max(...this.bodies.map((b) => b.reach));
    this.ray = new Raycaster();
    this.depth = new Depth(this);
    this.drawing = false;
    this.edges = []; // boxes over the picture that signs keep clear of, of its edges and of tools
    this.goal = null; // where the camera went last
    new ResizeObserver(() => this.resize()).observe(element);
    this.resize();
  }

  resize() {
    const w = this.element.clientWidth, h = this.element.clientHeight;
    if (!w || !h) return;
    this.width = w;
    this.height = h;
    this.renderer.setPixelRatio(Math.min(2, window.devicePixelRatio || 1));
    const g = this.goal;
    const whole = g?.view && Math.abs(this.half - g.half) < 1e-6 * g.half && this.centre.distanceTo(g.centre) < 1e-6 && this.turn.angleTo(g.turn) < 1e-6;
    this.renderer.setSize(w, h, false);
    if (whole) this.set(this.whole(g.view)); // all that was seen stays seen, as a window is made narrow or a phone is turned
    this.ask();
  }

  // ask has the picture drawn anew before it is next shown.
  ask() {
    if (this.drawing) return;
    this.drawing = true;
    requestAnimationFrame(() => {
      this.drawing = false;
      this.draw();
    });
  }

  draw() {
    if (!this.width) return;
    this.pixels = Math.min(this.width, this.height) / 2 / this.half;
    const c = this.camera, w = this.width / 2 / this.pixels, h = this.height / 2 / this.pixels;
    const far = this.radius * 4 + this.centre.length() + 100;
    Object.assign(c, { left: -w, right: w, top: h, bottom: -h, near: -far, far });
    c.position.copy(this.centre);
    c.quaternion.copy(this.turn);
    c.updateProjectionMatrix();
    c.updateMatrixWorld();
    const n = this.cut.normal;
    this.kept.copy(this.cut).negate();
    this.uniforms.uCut.value = [n.x, n.y, n.z, -this.cut.constant];
    this.depth.look();
    this.dispatchEvent(new Event('before'));
    this.renderer.render(this.scene, c);
    this.element.dataset.centre = this.centre.toArray().map((x) => x.toFixed(3)).join(' ');
    this.element.dataset.half = this.half.toFixed(3);
  }

  // axis returns a direction of the picture: 0 right, 1 up, 2 toward the viewer.
  axis(k) {
    const v = new Vector3();
    v.setComponent(k, 1);
    return v.applyQuaternion(this.turn);
  }

  // facing returns the turn of a camera that sees along -toward with up upward.
  static facing(toward, up) {
    const t = new Vector3(...toward).normalize();
    const u = new Vector3(...up).addScaledVector(t, -new Vector3(...up).dot(t)).normalize();
    const r = new Vector3().crossVectors(u, t);
    return new Quaternion().setFromRotationMatrix(new Matrix4().makeBasis(r, u, t));
  }

  // whole returns how to see all of the surface from a view, which stays so while the picture changes its size.
  whole(view) {
    const turn = Stage.facing(view.toward, view.up);
    const r = new Vector3(1, 0, 0).applyQuaternion(turn), u = new Vector3(0, 1, 0).applyQuaternion(turn);
    const [x0, x1] = this.extent(r), [y0, y1] = this.extent(u);
    const side = Math.min(this.width, this.height), room = 76; // pixels for what stands at the edges
    const half = Math.max((x1 - x0) * side / (this.width - room), (y1 - y0) * side / (this.height - room)) / 2;
    const centre = new Vector3().addScaledVector(r, (x0 + x1) / 2).addScaledVector(u, (y0 + y1) / 2);
    return { turn, centre, half: half || 40, view };
  }

  // extent returns how far what is shown reaches along a direction, mm from the middle.
  extent(d) {
    let lo = Infinity, hi = -Infinity;
    for (const b of this.bodies) {
      if (!b.mesh.visible) continue;
      const p = b.positions, aside = b.mesh.position.dot(d);
      for (let i = 0; i < p.length; i += 3) {
        const h = p[i] * d.x + p[i + 1] * d.y + p[i + 2] * d.z + aside;
        lo = Math.min(lo, h);
        hi = Math.max(hi, h);
      }
    }
    return lo <= hi ? [lo, hi] : [-40, 40];
  }

  // part sets the bodies mm apart, each half of it along its own direction.
  part(mm) {
    this.apart = mm;
    for (const b of this.bodies) b.mesh.position.copy(b.aside).multiplyScalar(mm / 2);
    this.dispatchEvent(new Event('parted'));
    this.ask();
  }

  // set puts the camera there at once.
  set(to) {
    this.goal = to;
    this.turn.copy(to.turn);
    this.centre.copy(to.centre);
    this.half = to.half;
  }

  // go moves the camera, over a third of a second where motion is welcome.
  go(to) {
    this.goal = to;
    const from = { turn: this.turn.clone(), centre: this.centre.clone(), half: this.half };
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    const start = performance.now(), run = (this.run = (this.run || 0) + 1);
    const step = (now) => {
      if (run !== this.run) return;
      const t = still ? 1 : Math.min(1, Math.max(0, (now - start) / 350)), s = t * t * (3 - 2 * t);
      this.turn.copy(from.turn).slerp(to.turn, s).normalize();
      this.centre.lerpVectors(from.centre, to.centre, s);
      this.half = from.half * Math.pow(to.half / from.half, s);
      this.ask();
      if (t < 1) requestAnimationFrame(step);
    };
    step(start);
  }

  // halt ends a movement, as the user takes over.
  halt() { this.run = (this.run || 0) + 1; }

  // pick returns the point of the surface at a place of the element in pixels, or null.
  pick(x, y) {
    this.ray.setFromCamera(new Vector2(2 * x / this.width - 1, 1 - 2 * y / this.height), this.camera);
    this.ray.ray.origin.addScaledVector(this.axis(2), this.radius * 2 + this.centre.length());
    const away = this.uniforms.uAway.value;
    for (const hit of this.ray.intersectObjects(this.bodies.map((b) => b.mesh).filter((m) => m.visible))) {
      if (!away || this.cut.distanceToPoint(hit.point) <= 0) return hit.point;
    }
    return null;
  }

  // place returns where a point is drawn, in pixels of the element.
  place(p) {
    const d = p.clone().sub(this.centre);
    return [this.width / 2 + d.dot(this.axis(0)) * this.pixels, this.height / 2 - d.dot(this.axis(1)) * this.pixels];
  }
}
