// What lies over the surface: marks of findings with their numbers, landmarks, lines, the plane.
import {
  BufferAttribute, BufferGeometry, CanvasTexture, DoubleSide, Group, Mesh, MeshBasicMaterial, Sprite, SpriteMaterial, Vector3,
} from 'three';
import { LineMaterial } from 'three/addons/lines/LineMaterial.js';
import { LineSegments2 } from 'three/addons/lines/LineSegments2.js';
import { LineSegmentsGeometry } from 'three/addons/lines/LineSegmentsGeometry.js';

const BEHIND = 1.5; // mm that a mark may lie behind the surface: a bleb's middle is on the sound surface under it
const INK = '#18181c', SOFT = '#58585e', PAPER = '#ffffff', CREST = '#144278', REAR = '#781e3c', PLANE = '#1e5c96', FILL = '#4a96d6';
const BETWEEN = 14; // mm that a mark between two jaws may lie behind them: half a rim and more

// Where a sign goes, in pixels from its own place, until one is free: numbers, words at a line, words
// beside a landmark.
const ASIDE = [[0, 0]];
for (let r = 10; r <= 160; r += 10) ASIDE.push([r, 0], [-r, 0], [0, r], [0, -r]);
const LEVELS = [0, 27, -27, 54, -54, 81, -81].map((y) => [0, y]), NEAR = LEVELS.slice(0, 3);

// layerOf tells which layer a kind belongs to.
const layerOf = {
  hole: 'holes', void: 'faults', bleb: 'faults', fold: 'faults', place: 'others', thin: 'others', thick: 'others', stretch: 'others',
  landmark: 'landmarks', plane: 'plane', crest: 'lines', rear: 'lines', length: 'lengths', spot: 'gap', space: 'space',
};

// strip draws a path of points with pen strokes of even width in pixels, each { colour, width, dash, gap },
// the first lowest. Dashes are mm.
function strip(points, closed, strokes) {
  const flat = [];
  const n = points.length;
  for (let i = 0; i + 1 < n + (closed ? 1 : 0); i++) flat.push(...points[i], ...points[(i + 1) % n]);
  const g = new LineSegmentsGeometry();
  g.setPositions(flat);
  const out = new Group();
  strokes.forEach((s, i) => {
    const m = new LineMaterial({ color: s.colour, linewidth: s.width, dashed: !!s.dash, dashSize: s.dash || 1, gapSize: s.gap || 1, depthWrite: false });
    const line = new LineSegments2(g, m);
    line.computeLineDistances();
    line.renderOrder = 2 + i;
    out.add(line);
  });
  return out;
}

// over draws what is in a group over all that lies before it.
export function over(group) {
  group.traverse((o) => {
    if (o.material) o.material.depthTest = false;
    o.renderOrder += 4;
  });
}

const inked = (width, colour = INK) => [{ colour: PAPER, width: width + 4 }, { colour, width }];

function polygon(n, turn, r = 1) {
  const out = [];
  for (let i = 0; i < n; i++) {
    const a = turn + 2 * Math.PI * i / n;
    out.push([r * Math.cos(a), r * Math.sin(a), 0]);
  }
  return out;
}

// shapes are drawn about the origin with radius 1, across the line of sight. They differ, so that
// nothing hangs on colour.
const shapes = {
  hole: (w) => [strip(polygon(48, 0), true, inked(w)), strip(polygon(48, 0, 1.35), true, inked(w))],
  void: (w) => [strip(polygon(48, 0), true, inked(w))],
  bleb: (w) => [strip(polygon(3, Math.PI / 2, 1.9), true, inked(w))],
  fold: (w) => [strip(polygon(4, 0, 1.3), true, inked(w))],
  place: (w) => [strip(polygon(4, Math.PI / 4, 1.35), true, inked(w))],
  landmark: (w) => [strip([[-1, 0, 0], [1, 0, 0]], false, inked(w)), strip([[0, -1, 0], [0, 1, 0]], false, inked(w))],
};

const lines = {
  crest: [{ colour: PAPER, width: 6 }, { colour: CREST, width: 2.5, dash: 2, gap: 1.2 }],
  rear: [{ colour: PAPER, width: 6 }, { colour: REAR, width: 2.5, dash: 3, gap: 0.8 }],
  thin: [{ colour: PAPER, width: 6 }, { colour: INK, width: 2.5 }, { colour: INK, width: 11, dash: 0.35, gap: 0.9 }],
  thick: [{ colour: PAPER, width: 11 }, { colour: INK, width: 2.5 }, { colour: INK, width: 8, dash: 0.8, gap: 0.8 }],
  stretch: [{ colour: PAPER, width: 10 }, { colour: INK, width: 6 }],
  plane: [{ colour: PAPER, width: 6 }, { colour: PLANE, width: 3 }],
  length: [{ colour: PAPER, width: 5 }, { colour: PLANE, width: 2.5 }],
  space: [{ colour: PAPER, width: 4 }, { colour: SOFT, width: 2 }],
  fold: [{ colour: PAPER, width: 13 }, { colour: INK, width: 9 }, { colour: PAPER, width: 4 }],
  region: [{ colour: PAPER, width: 8 }, { colour: SOFT, width: 4 }],
};

// drawn returns a sprite w × h pixels large, painted by paint(context).
function drawn(w, h, paint) {
  const canvas = document.createElement('canvas'), sharp = 2;
  canvas.width = w * sharp;
  canvas.height = h * sharp;
  const c = canvas.getContext('2d');
  c.scale(sharp, sharp);
  paint(c);
  const map = new CanvasTexture(canvas);
  map.colorSpace = 'srgb';
  const s = new Sprite(new SpriteMaterial({ map, transparent: true, depthWrite: false, depthTest: false }));
  s.userData.size = [w, h];
  s.renderOrder = 8;
  return s;
}

const FONT = '600 14px system-ui, "Segoe UI", Roboto, sans-serif';

function label(text) {
  const c = document.createElement('canvas').getContext('2d');
  c.font = FONT;
  const w = Math.ceil(c.measureText(text).width) + 12;
  return drawn(w, 24, (p) => {
    p.font = FONT;
    p.fillStyle = 'rgba(255,255,255,.92)';
    p.beginPath();
    p.roundRect(0, 0, w, 24, 5);
    p.fill();
    p.fillStyle = INK;
    p.textBaseline = 'middle';
    p.fillText(text, 6, 12.5);
  });
}

function badge(number, severity) {
  return drawn(30, 30, (p) => {
    p.beginPath();
    p.arc(15, 15, 14.5, 0, 7);
    p.fillStyle = PAPER;
    p.fill();
    p.beginPath();
    p.arc(15, 15, 12, 0, 7);
    p.fillStyle = severity === 'fail' ? INK : PAPER;
    p.fill();
    p.lineWidth = 2;
    p.strokeStyle = INK;
    p.stroke();
    p.fillStyle = severity === 'fail' ? PAPER : INK;
    p.font = FONT;
    p.textAlign = 'center';
    p.textBaseline = 'middle';
    p.fillText(String(number), 15, 15.5);
  });
}

// half returns the point halfway along a path.
function half(path) {
  const ps = path.map((p) => new Vector3(...p));
  let whole = 0;
  for (let i = 1; i < ps.length; i++) whole += ps[i].distanceTo(ps[i - 1]);
  let at = 0;
  for (let i = 1; i < ps.length; i++) {
    const d = ps[i].distanceTo(ps[i - 1]);
    if (at + d >= whole / 2 && d > 0) return ps[i - 1].clone().lerp(ps[i], (whole / 2 - at) / d);
    at += d;
  }
  return ps[0];
}

export class Marks {
  constructor(stage) {
    this.stage = stage;
    this.layers = {};
    this.shown = {}; // by layer
    this.covered = false; // landmarks are shown by another hand
    this.upright = []; // { group, at, radius }: across the line of sight, never smaller than legible
    this.signs = []; // { sprite, at, beside, number }: of one size in pixels
    this.sheets = []; // { group, body }
    this.guests = null; // gives the signs of another hand, set in their places, as in signs
    const { marks, lines: paths, regions, planes } = stage.data;
    this.reach = stage.bodies.length > 1 ? BETWEEN : BEHIND;
    for (const m of marks) this.mark(m);
    for (const l of paths) this.layer(layerOf[l.kind]).add(strip(l.path, l.closed, lines[l.kind]));
    for (const r of regions) {
      this.layer('regions').add(strip(r.path, false, lines.region));
      this.sign(this.layer('regions'), label(r.name), half(r.path), null, 0);
      for (const end of [r.path[0], r.path[r.path.length - 1]]) this.shape(this.layer('regions'), 'void', end, 0, 2);
    }
    for (const p of planes) if (p.corners.length === 4) this.sheet(p);
    stage.addEventListener('before', () => this.follow());
  }

  layer(name) {
    if (!this.layers[name]) {
      this.layers[name] = new Group();
      this.stage.scene.add(this.layers[name]);
    }
    return this.layers[name];
  }

  show(name, on) {
    this.layer(name).visible = this.shown[name] = on;
    this.stage.ask();
  }

  // clip draws marks and lines only on the positive side of the planes.
  clip(planes) {
    for (const layer of Object.values(this.layers)) {
      layer.traverse((o) => {
        if (o.material) o.material.clippingPlanes = planes;
      });
    }
    this.stage.ask();
  }

  mark(m) {
    const layer = this.layer(m.kind === 'plane' ? 'others' : layerOf[m.kind]); // the plane may be hidden, a finding about it not
    const width = m.number || m.kind === 'landmark' ? 3 : 1.5;
    let seen = null;
    if ((m.kind === 'hole' || m.kind === 'fold') && m.path && m.path.length > 1) {
      layer.add(strip(m.path, m.kind === 'hole', m.kind === 'fold' ? lines.fold : inked(2)));
    }
    if (shapes[m.kind] && !(m.kind === 'fold' && m.path)) seen = this.shape(layer, m.kind, m.at, m.radius || 0, width);
    if (m.kind === 'length' || m.kind === 'space') {
      const line = strip(m.path, false, lines[m.kind]);
      over(line);
      layer.add(line);
      if (m.label) this.sign(layer, label(m.label), new Vector3(...m.at), null, 0);
    } else if (m.kind === 'spot') this.sign(layer, label(m.label), new Vector3(...m.at), null, 0);
    if (m.number) this.sign(layer, badge(m.number, m.severity), new Vector3(...m.at), seen, m.number);
    else if (m.kind === 'landmark') this.sign(layer, label(m.label), new Vector3(...m.at), seen, 0);
  }

  shape(layer, kind, at, radius, width) {
    const group = new Group();
    group.add(...shapes[kind](width));
    over(group);
    layer.add(group);
    const u = { group, at: new Vector3(...at), radius, least: kind === 'landmark' ? 6 : width < 3 ? 4 : 9 };
    this.upright.push(u);
    return u;
  }

  sign(layer, sprite, at, beside, number) {
    layer.add(sprite);
    this.signs.push({ sprite, at, beside, number });
  }

  sheet({ corners, body }) {
    const group = new Group();
    const g = new BufferGeometry();
    g.setAttribute('position', new BufferAttribute(new Float32Array(corners.flat()), 3));
    g.setIndex([0, 1, 2, 0, 2, 3]);
    const m = new Mesh(g, new MeshBasicMaterial({ color: FILL, transparent: true, opacity: 0.35, side: DoubleSide, depthWrite: false }));
    m.renderOrder = 1;
    m.userData.stays = true;
    group.add(m, strip(corners, true, [{ colour: PLANE, width: 1.5 }]));
    this.layer('plane').add(group);
    this.sheets.push({ group, body });
  }

  // follow sets marks across the line of sight and lifts all of them off the surface, toward the
  // viewer, which changes nothing of where they are seen.
  follow() {
    const s = this.stage, toward = s.axis(2), right = s.axis(0), up = s.axis(1), px = 1 / s.pixels;
    const landmarks = this.layer('landmarks');
    landmarks.visible = !!this.shown.landmarks && !this.covered;
    for (const name of ['lengths', 'space']) this.layer(name).visible = !!this.shown[name] && s.apart === 0; // they hold for closed jaws
    for (const p of this.sheets) {
      const body = s.bodies[p.body].mesh;
      p.group.position.copy(body.position);
      p.group.visible = body.visible;
    }
    for (const [name, layer] of Object.entries(this.layers)) {
      layer.position.copy(toward).multiplyScalar(name === 'plane' ? 0.1 : 1.2);
    }
    for (const u of this.upright) {
      u.group.visible = s.depth.shows(u.at, this.reach);
      u.size = Math.max(u.radius + 2 * px, u.least * px);
      u.group.position.copy(u.at);
      u.group.quaternion.copy(s.turn);
      u.group.scale.setScalar(u.size);
    }
    const shown = [];
    for (const g of this.signs) {
      g.sprite.visible = g.sprite.parent.visible && s.depth.shows(g.at, this.reach);
      if (g.number && g.sprite.visible) shown.push(g.number);
      const [w, h] = g.sprite.userData.size, k = g.number && g.number === this.current ? 1.25 : 1;
      g.sprite.scale.set(k * w * px, k * h * px, 1);
      g.sprite.position.copy(g.at).addScaledVector(toward, 0.4);
      if (g.beside) {
        const d = 0.75 * g.beside.size * 1.2;
        g.sprite.position.addScaledVector(right, d + (w / 2 + 1) * px).addScaledVector(up, d + (h / 2 + 1) * px);
      }
    }
    this.part();
    s.element.dataset.signs = shown.join(' ');
  }

  // part keeps signs inside the picture and apart from each other and from what stands at its edges:
  // numbers move aside, words up or down, and words that find no place are left out.
  part() {
    const s = this.stage, taken = [...s.edges], inPicture = (x, y) => x >= 0 && y >= 0 && x <= s.width && y <= s.height;
    const guests = (this.guests?.() || []).filter((g) => g.sprite.visible);
    const crosses = guests.map((g) => s.place(g.at)).map(([x, y]) => [x - 9, y - 9, x + 9, y + 9]);
    const on = (b) => (t) => b[0] < t[2] && t[0] < b[2] && b[1] < t[3] && t[1] < b[3];
    const covers = (b) => taken.some(on(b)) || crosses.some(on(b));
    const put = (g, moves) => {
      const [x, y] = s.place(g.sprite.position), [w, h] = g.sprite.userData.size;
      if (!inPicture(...s.place(g.at))) return true;
      const into = (v, size, room) => Math.max(size / 2 + 1, Math.min(room - size / 2 - 1, v));
      for (const [dx, dy] of moves) {
        const u = into(x + dx, w, s.width), v = into(y + dy, h, s.height);
        const b = [u - w / 2, v - h / 2, u + w / 2, v + h / 2];
        if (covers(b)) continue;
        g.sprite.position.addScaledVector(s.axis(0), (u - x) / s.pixels).addScaledVector(s.axis(1), (y - v) / s.pixels);
        taken.push(b);
        return true;
      }
      return false;
    };
    const shown = [...guests, ...this.signs.filter((g) => g.sprite.visible)];
    for (const g of shown) if (g.number) put(g, ASIDE);
    for (const g of shown) if (!g.number) g.sprite.visible = put(g, g.beside ? NEAR : LEVELS);
    s.element.dataset.boxes = JSON.stringify(taken.map((b) => b.map(Math.round)));
  }

  // at returns the number of the finding whose sign is seen at a place in pixels, 0 for none.
  at(x, y) {
    let best = 0, least = 18;
    for (const g of this.signs) {
      if (!g.number || !g.sprite.visible) continue;
      const [a, b] = this.stage.place(g.sprite.position);
      const d = Math.hypot(a - x, b - y);
      if (d >= least) continue;
      best = g.number;
      least = d;
    }
    return best;
  }
}

// path makes a line for a tool: strokes as in lines.
export const path = strip;
export const sign = label;
export { INK, PAPER };
