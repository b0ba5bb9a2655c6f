// The contour of a section drawn flat, and lengths between two of its points.
import { apart, length } from './contour.mjs';

const REACH = 26; // pixels from a click to the contour

export class Panel {
  constructor(element, canvas, said, theme, precision) {
    Object.assign(this, { element, canvas, said, theme, precision });
    this.lines = [];
    this.chosen = []; // places on the contour: { line, at } with at mm along it
    this.middle = [0, 0];
    this.scale = 0; // pixels per mm
    this.sides = ['', '', '', ''];
    this.cursor = null;
    new ResizeObserver(() => this.draw()).observe(element);
    this.listen();
  }

  // set shows lines of flat points, with the names of what lies left, right, up and down.
  set(lines, sides, fresh) {
    this.lines = lines.map((l) => {
      const at = [0];
      for (let i = 1; i < l.points.length; i++) at.push(at[i - 1] + apart(l.points[i - 1], l.points[i]));
      return { ...l, along: at, whole: length(l) };
    });
    this.sides = sides;
    this.chosen = [];
    this.cursor = null;
    if (fresh || !this.scale) this.fit();
    this.element.dataset.length = this.lines.reduce((sum, l) => sum + l.whole, 0).toFixed(3);
    this.tell();
    this.draw();
  }

  fit() {
    let lo = [Infinity, Infinity], hi = [-Infinity, -Infinity];
    for (const l of this.lines) {
      for (const p of l.points) {
        lo = [Math.min(lo[0], p[0]), Math.min(lo[1], p[1])];
        hi = [Math.max(hi[0], p[0]), Math.max(hi[1], p[1])];
      }
    }
    if (!(hi[0] >= lo[0])) return;
    this.middle = [(lo[0] + hi[0]) / 2, (lo[1] + hi[1]) / 2];
    this.scale = Math.min((this.element.clientWidth - 116) / Math.max(1, hi[0] - lo[0]), (this.element.clientHeight - 70) / Math.max(1, hi[1] - lo[1]));
  }

  pixel(p) {
    return [this.element.clientWidth / 2 + (p[0] - this.middle[0]) * this.scale, this.element.clientHeight / 2 - (p[1] - this.middle[1]) * this.scale];
  }

  // point returns where a place on the contour is.
  point({ line, at }) {
    const l = this.lines[line], n = l.points.length;
    let i = 0;
    while (i + 1 < n && l.along[i + 1] <= at) i++;
    const a = l.points[i], b = l.points[(i + 1) % n];
    if (i + 1 === n && !l.closed) return a;
    const t = Math.min(1, (at - l.along[i]) / (apart(a, b) || 1));
    return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
  }

  // nearest returns the place on the contour nearest to a pixel, or null.
  nearest(x, y) {
    let best = null, least = REACH;
    this.lines.forEach((l, line) => {
      const n = l.points.length;
      for (let i = 0; i + 1 < n + (l.closed ? 1 : 0); i++) {
        const a = this.pixel(l.points[i]), b = this.pixel(l.points[(i + 1) % n]);
        const ux = b[0] - a[0], uy = b[1] - a[1], uu = ux * ux + uy * uy;
        const t = uu ? Math.max(0, Math.min(1, ((x - a[0]) * ux + (y - a[1]) * uy) / uu)) : 0;
        const d = Math.hypot(a[0] + t * ux - x, a[1] + t * uy - y);
        if (d < least) {
          least = d;
          best = { line, at: l.along[i] + t * Math.sqrt(uu) / this.scale };
        }
      }
    });
    return best;
  }

  choose(place) {
    if (!place) return;
    this.chosen = this.chosen.length === 1 ? [this.chosen[0], place] : [place];
    this.tell();
    this.draw();
  }

  tell() {
    const [a, b] = this.chosen;
    const contours = this.lines.length === 1 ? 'One contour' : this.lines.length + ' contours';
    if (!a) this.said.textContent = this.lines.length ? `${contours}, ${this.element.dataset.length.slice(0, -2)} mm in all.` : 'The section meets no surface.';
    else if (!b) this.said.textContent = 'First point set.';
    else {
      let text = `Straight ${apart(this.point(a), this.point(b)).toFixed(2)} ± ${this.precision.toFixed(2)} mm`;
      if (a.line === b.line) {
        const l = this.lines[a.line], d = Math.abs(a.at - b.at);
        text += `, along the contour ${(l.closed ? Math.min(d, l.whole - d) : d).toFixed(2)} mm`;
      }
      this.said.textContent = text + '.';
    }
  }

  listen() {
    const el = this.element, down = new Map();
    let moved = 0;
    const at = (e) => {
      const b = el.getBoundingClientRect();
      return [e.clientX - b.left - el.clientLeft, e.clientY - b.top - el.clientTop];
    };
    const zoom = (by, x, y) => {
      const to = Math.max(0.5, Math.min(2000, this.scale * by)), k = 1 / this.scale - 1 / to;
      this.middle = [this.middle[0] + (x - el.clientWidth / 2) * k, this.middle[1] + (el.clientHeight / 2 - y) * k];
      this.scale = to;
      this.draw();
    };
    el.addEventListener('pointerdown', (e) => {
      el.setPointerCapture(e.pointerId);
      if (!down.size) moved = 0;
      down.set(e.pointerId, at(e));
    });
    el.addEventListener('pointermove', (e) => {
      const was = down.get(e.pointerId);
      if (!was) return;
      const p = at(e), share = 1 / down.size;
      moved += Math.hypot(p[0] - was[0], p[1] - was[1]);
      down.set(e.pointerId, p);
      if (moved < 4) return;
      this.middle = [this.middle[0] - share * (p[0] - was[0]) / this.scale, this.middle[1] + share * (p[1] - was[1]) / this.scale];
      const other = [...down].find(([id]) => id !== e.pointerId);
      if (other) {
        const o = other[1], wide = Math.hypot(p[0] - o[0], p[1] - o[1]), before = Math.hypot(was[0] - o[0], was[1] - o[1]);
        zoom(wide / Math.max(1, before), (p[0] + o[0]) / 2, (p[1] + o[1]) / 2);
      }
      this.draw();
    });
    el.addEventListener('pointerup', (e) => {
      if (down.delete(e.pointerId) && !down.size && moved < 4) this.choose(this.nearest(...at(e)));
    });
    el.addEventListener('pointercancel', (e) => down.delete(e.pointerId));
    el.addEventListener('wheel', (e) => {
      e.preventDefault();
      zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0015)), ...at(e));
    }, { passive: false });
    el.addEventListener('keydown', (e) => this.key(e, zoom));
  }

  key(e, zoom) {
    if (!this.lines.length || e.ctrlKey || e.metaKey || e.altKey) return;
    const c = this.cursor || { line: 0, at: 0 }, l = this.lines[c.line], step = e.shiftKey ? 5 : 0.25; // mm
    const go = (at) => (l.closed ? (at + l.whole) % l.whole : Math.max(0, Math.min(l.whole, at)));
    const next = (k) => ({ line: (c.line + k + this.lines.length) % this.lines.length, at: 0 });
    if (e.key === 'ArrowRight') this.cursor = { line: c.line, at: go(c.at + step) };
    else if (e.key === 'ArrowLeft') this.cursor = { line: c.line, at: go(c.at - step) };
    else if (e.key === 'ArrowDown') this.cursor = next(1);
    else if (e.key === 'ArrowUp') this.cursor = next(-1);
    else if (e.key === 'Enter' || e.key === ' ') this.choose(this.cursor = c);
    else if (e.key === '+' || e.key === '=') zoom(1.25, ...this.pixel(this.point(c)));
    else if (e.key === '-') zoom(0.8, this.element.clientWidth / 2, this.element.clientHeight / 2);
    else return;
    e.preventDefault();
    this.draw();
  }

  draw() {
    const w = this.element.clientWidth, h = this.element.clientHeight, sharp = Math.min(2, window.devicePixelRatio || 1);
    if (!w || !h) return;
    this.canvas.width = w * sharp;
    this.canvas.height = h * sharp;
    const c = this.canvas.getContext('2d'), { ink, soft, rule, accent, stage } = this.theme();
    c.scale(sharp, sharp);
    this.grid(c, w, h, rule, soft);
    c.lineJoin = 'round';
    c.lineWidth = 2.5;
    c.strokeStyle = ink;
    for (const l of this.lines) {
      c.beginPath();
      l.points.forEach((p, i) => c[i ? 'lineTo' : 'moveTo'](...this.pixel(p)));
      if (l.closed) c.closePath();
      c.stroke();
    }
    const spot = (p, r, fill) => {
      c.beginPath();
      c.arc(...p, r, 0, 7);
      c.fillStyle = fill;
      c.fill();
      c.lineWidth = 2;
      c.strokeStyle = accent;
      c.stroke();
    };
    const ends = this.chosen.map((p) => this.pixel(this.point(p)));
    if (ends.length === 2) {
      c.beginPath();
      c.moveTo(...ends[0]);
      c.lineTo(...ends[1]);
      c.lineWidth = 2;
      c.strokeStyle = accent;
      c.setLineDash([6, 4]);
      c.stroke();
      c.setLineDash([]);
    }
    ends.forEach((p) => spot(p, 6, accent));
    if (this.cursor) spot(this.pixel(this.point(this.cursor)), 8, 'transparent');
    c.font = '600 14px system-ui, "Segoe UI", Roboto, sans-serif';
    const [left, right, up, down] = this.sides;
    const write = (text, x, y, align, base) => {
      if (!text) return;
      c.textAlign = align;
      c.textBaseline = base;
      c.lineWidth = 4;
      c.strokeStyle = stage;
      c.strokeText(text, x, y);
      c.fillStyle = ink;
      c.fillText(text, x, y);
    };
    write(left, 8, h / 2, 'left', 'middle');
    write(right, w - 8, h / 2, 'right', 'middle');
    write(up, w / 2, 8, 'center', 'top');
    write(down, w / 2, h - 8, 'center', 'bottom');
  }

  // grid rules the panel in steps of a round number of mm.
  grid(c, w, h, rule, soft) {
    const mm = [0.1, 0.5, 1, 5, 10, 50].find((s) => s * this.scale >= 14) || 100;
    c.strokeStyle = rule;
    c.lineWidth = 1;
    c.beginPath();
    const [x0, y0] = this.pixel([0, 0]), step = mm * this.scale;
    for (let x = ((x0 % step) + step) % step; x < w; x += step) c.moveTo(x, 0), c.lineTo(x, h);
    for (let y = ((y0 % step) + step) % step; y < h; y += step) c.moveTo(0, y), c.lineTo(w, y);
    c.globalAlpha = 0.6;
    c.stroke();
    c.globalAlpha = 1;
    c.fillStyle = soft;
    c.font = '13px system-ui, sans-serif';
    c.textAlign = 'left';
    c.textBaseline = 'bottom';
    c.fillText(`squares of ${mm} mm`, 8, h - 8);
  }
}
