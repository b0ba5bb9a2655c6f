// A plane that cuts the surface and can be dragged along its normal.
import { Group, Vector3 } from 'three';
import { cutting } from './contour.mjs';
import { path } from './marks.mjs';

const EDGE = [{ colour: '#ffffff', width: 4 }, { colour: '#1e5c96', width: 1.5, dash: 2, gap: 1.5 }];
const LINE = [{ colour: '#ffffff', width: 7 }, { colour: '#1e5c96', width: 4 }];
const GRAB = 16; // pixels from the contour or the frame

export class Section {
  constructor(stage, panel, slide, slid) {
    Object.assign(this, { stage, panel, slide, slid });
    this.lines = stage.bodies.map((b) => cutting(b.positions, b.faces));
    this.on = false;
    this.drawn = new Group();
    stage.scene.add(this.drawn);
    slide.addEventListener('input', () => this.move(Number(slide.value)));
    stage.addEventListener('parted', () => this.toward && this.reach(this.at));
    stage.addEventListener('before', () => this.drawn.position.copy(stage.axis(2)).multiplyScalar(0.3));
  }

  // aim sets the direction: the plane is seen flat from toward with up upward.
  aim(toward, up, names) {
    this.toward = new Vector3(...toward).normalize();
    this.up = new Vector3(...up).addScaledVector(this.toward, -new Vector3(...up).dot(this.toward)).normalize();
    this.right = new Vector3().crossVectors(this.up, this.toward);
    this.names = names;
    this.reach();
  }

  // reach measures how far the plane can go, and puts it there or in the middle.
  reach(at) {
    const [lo, hi] = this.stage.extent(this.toward), [x0, x1] = this.stage.extent(this.right), [y0, y1] = this.stage.extent(this.up);
    this.box = [x0, y0, x1, y1];
    this.range = [lo, hi];
    this.slide.min = lo.toFixed(2);
    this.slide.max = hi.toFixed(2);
    this.fresh = true;
    this.move(at ?? (lo + hi) / 2);
  }

  // move puts the plane at mm along its normal from the middle of the scan.
  move(at) {
    this.at = Math.max(this.range[0], Math.min(this.range[1], at));
    this.slide.value = this.at.toFixed(2);
    this.slid.textContent = `${this.at < -0.05 ? '−' : ''}${Math.abs(this.at).toFixed(1)} mm`;
    this.stage.cut.set(this.toward, -this.at);
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      if (this.on) this.draw();
    });
  }

  draw() {
    const n = this.toward;
    this.found = this.stage.bodies.flatMap((b, i) => {
      if (!b.mesh.visible) return [];
      const o = b.mesh.position, back = (p) => [p[0] + o.x, p[1] + o.y, p[2] + o.z];
      return this.lines[i]([n.x, n.y, n.z], this.at - o.dot(n)).map((l) => ({ ...l, points: l.points.map(back) }));
    });
    for (const old of this.drawn.children.splice(0)) {
      old.traverse((o) => {
        o.geometry?.dispose();
        o.material?.dispose();
      });
    }
    for (const l of this.found) if (l.points.length > 1) this.drawn.add(path(l.points, l.closed, LINE));
    this.drawn.add(path(this.frame(), true, EDGE));
    this.panel.set(this.found.map((l) => ({ ...l, points: l.points.map((p) => this.flat(p)) })), this.names(), this.fresh);
    this.fresh = false;
    this.stage.ask();
  }

  flat(p) {
    const v = new Vector3(...p);
    return [v.dot(this.right), v.dot(this.up)];
  }

  // frame returns the corners of the plane as it is drawn.
  frame() {
    const [x0, y0, x1, y1] = this.box, m = 3;
    return [[x0 - m, y0 - m], [x1 + m, y0 - m], [x1 + m, y1 + m], [x0 - m, y1 + m]].map(([x, y]) =>
      new Vector3().addScaledVector(this.right, x).addScaledVector(this.up, y).addScaledVector(this.toward, this.at).toArray());
  }

  show(on) {
    this.on = on;
    this.drawn.visible = on;
    if (on) this.draw();
    this.stage.ask();
  }

  // grab takes hold of the plane where its contour or frame is drawn near a place in pixels.
  grab(x, y) {
    if (!this.on || !this.found) return null;
    const frame = this.frame();
    const near = this.found.some((l) => l.points.some((p) => this.near(p, x, y))) ||
      frame.some((p, i) => this.nearEdge(p, frame[(i + 1) % 4], x, y));
    if (!near) return null;
    const nx = this.toward.dot(this.stage.axis(0)), ny = -this.toward.dot(this.stage.axis(1)), size = Math.hypot(nx, ny);
    const from = this.at;
    return (px, py) => {
      // Seen flat, the plane comes nearer when it is dragged up.
      const mm = size > 0.15 ? ((px - x) * nx + (py - y) * ny) / size ** 2 : y - py;
      this.move(from + mm / this.stage.pixels);
    };
  }

  near(p, x, y) {
    const [a, b] = this.stage.place(new Vector3(...p));
    return Math.hypot(a - x, b - y) < GRAB;
  }

  nearEdge(p, q, x, y) {
    const a = this.stage.place(new Vector3(...p)), b = this.stage.place(new Vector3(...q));
    const ux = b[0] - a[0], uy = b[1] - a[1];
    const t = Math.max(0, Math.min(1, ((x - a[0]) * ux + (y - a[1]) * uy) / (ux * ux + uy * uy || 1)));
    return Math.hypot(a[0] + t * ux - x, a[1] + t * uy - y) < GRAB;
  }
}
