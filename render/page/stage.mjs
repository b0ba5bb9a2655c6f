// The picture: camera without perspective, surface, and what lies over it.
import {
  BufferAttribute, BufferGeometry, Color, DoubleSide, Mesh, OrthographicCamera, Plane, Raycaster, Scene, ShaderMaterial,
  Vector2, Vector3, Quaternion, Matrix4, WebGLRenderer,
} from 'three';
import { Depth } from './depth.mjs';

const vertexShader = `
attribute vec3 share;
varying vec3 vNormal, vShare;
varying float vAlong;
uniform vec4 uCut;
void main() {
  vNormal = normalMatrix * normal;
  vShare = share;
  vAlong = dot(position, uCut.xyz) - uCut.w;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

// Thicknesses that differ by noise alone look alike, since neighbouring colours blend over a quarter of
// a step. Light falls from the viewer's upper left, so that relief reads the same from every side.
const fragmentShader = `
varying vec3 vNormal, vShare;
varying float vAlong;
uniform bool uAway, uTint, uInsideOut;
uniform vec3 uFront, uBack;
uniform vec3 uSteps[STEPS];
const float BLEND = 0.25;
void main() {
  if (uAway && vAlong > 0.0) discard;
  vec3 n = normalize(vNormal);
  // A sliver of a rough scan may turn its back while the surface round it does not.
  bool front = gl_FrontFacing != uInsideOut || (uInsideOut ? -n.z : n.z) > -0.2;
  if (n.z < 0.0) n = -n;
  vec3 base = front ? uFront : uBack;
  if (front && uTint && vShare.y > 0.0 && vShare.z > 0.502) {
    float at = clamp(vShare.x / vShare.y, 0.0, 0.9999) * float(STEPS);
    int i = int(at);
    float f = fract(at);
    base = uSteps[i];
    if (f < BLEND && i > 0) base = mix(uSteps[i - 1], base, 0.5 + 0.5 * f / BLEND);
    if (f > 1.0 - BLEND && i < STEPS - 1) base = mix(base, uSteps[i + 1], 0.5 * (f - 1.0 + BLEND) / BLEND);
  }
  float lit = 0.2 + 0.66 * max(0.0, dot(n, normalize(vec3(-0.6, 0.75, 0.75)))) + 0.24 * n.z;
  gl_FragColor = vec4(base * min(lit, 1.06), 1.0);
  #include <colorspace_fragment>
}`;

// linear colours, as the shader wants them.
const tone = (hex) => new Color(hex);

export class Stage extends EventTarget {
  constructor(element, canvas, data, surface, share, normal) {
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
    this.half = 40; // half the smaller side of the picture, mm
    this.pixels = 10; // per mm
    this.cut = new Plane(new Vector3(1, 0, 0), 0);
    this.kept = new Plane(); // what lies behind the cut is on its positive side

    const g = new BufferGeometry();
    g.setAttribute('position', new BufferAttribute(surface.positions, 3));
    g.setAttribute('normal', new BufferAttribute(normal, 3));
    g.setAttribute('share', new BufferAttribute(share, 3));
    g.setIndex(new BufferAttribute(surface.faces, 1));
    g.computeBoundingSphere();
    this.geometry = g;
    this.radius = g.boundingSphere.radius;
    this.material = new ShaderMaterial({
      vertexShader, fragmentShader, side: DoubleSide, defines: { STEPS: data.scale.colours.length },
      polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
      uniforms: {
        uCut: { value: [1, 0, 0, 0] }, uAway: { value: false }, uTint: { value: true },
        uInsideOut: { value: data.surface.inside_out }, uFront: { value: tone('#e2d9cb') }, uBack: { value: tone('#808a98') },
        uSteps: { value: data.scale.colours.map(tone) },
      },
    });
    this.body = new Mesh(g, this.material);
    this.scene.add(this.body);
    this.ray = new Raycaster();
    this.depth = new Depth(this);
    this.drawing = false;
    new ResizeObserver(() => this.resize()).observe(element);
    this.resize();
  }

  resize() {
    const w = this.element.clientWidth, h = this.element.clientHeight;
    if (!w || !h) return;
    this.width = w;
    this.height = h;
    this.renderer.setPixelRatio(Math.min(2, window.devicePixelRatio || 1));
    this.renderer.setSize(w, h, false);
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
    this.material.uniforms.uCut.value = [n.x, n.y, n.z, -this.cut.constant];
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

  // whole returns how to see all of the surface from a view.
  whole(view) {
    const turn = Stage.facing(view.toward, view.up);
    const r = new Vector3(1, 0, 0).applyQuaternion(turn), u = new Vector3(0, 1, 0).applyQuaternion(turn);
    const p = this.geometry.attributes.position.array;
    let x0 = Infinity, x1 = -Infinity, y0 = Infinity, y1 = -Infinity;
    for (let i = 0; i < p.length; i += 3) {
      const x = p[i] * r.x + p[i + 1] * r.y + p[i + 2] * r.z, y = p[i] * u.x + p[i + 1] * u.y + p[i + 2] * u.z;
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x);
      y0 = Math.min(y0, y);
      y1 = Math.max(y1, y);
    }
    const side = Math.min(this.width, this.height), room = 76; // pixels for what stands at the edges
    const half = Math.max((x1 - x0) * side / (this.width - room), (y1 - y0) * side / (this.height - room)) / 2;
    const centre = new Vector3().addScaledVector(r, (x0 + x1) / 2).addScaledVector(u, (y0 + y1) / 2);
    return { turn, centre, half: half || 40 };
  }

  // go moves the camera, over a third of a second where motion is welcome.
  go(to) {
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
    const away = this.material.uniforms.uAway.value;
    for (const hit of this.ray.intersectObject(this.body)) {
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
