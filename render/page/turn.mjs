// Turning, moving and zooming with mouse, fingers, pen and keys.
import { Quaternion } from 'three';

export function zoom(stage, by, x, y) {
  const half = Math.min(10 * stage.radius, Math.max(stage.radius / 200, stage.half * by));
  if (x !== undefined) {
    // What lies under the pointer stays there.
    const keep = (1 - half / stage.half) / stage.pixels;
    stage.centre.addScaledVector(stage.axis(0), (x - stage.width / 2) * keep);
    stage.centre.addScaledVector(stage.axis(1), (stage.height / 2 - y) * keep);
  }
  stage.half = half;
  stage.pixels = Math.min(stage.width, stage.height) / 2 / half;
  stage.ask();
}

function move(stage, dx, dy) {
  stage.centre.addScaledVector(stage.axis(0), -dx / stage.pixels);
  stage.centre.addScaledVector(stage.axis(1), dy / stage.pixels);
  stage.ask();
}

// roll turns the scan under the hand: about the picture's upright axis by dx, its level one by dy.
function roll(stage, dx, dy) {
  const speed = Math.PI / Math.min(stage.width, stage.height);
  const q = new Quaternion();
  stage.turn.premultiply(q.setFromAxisAngle(stage.axis(1), -dx * speed));
  stage.turn.premultiply(q.setFromAxisAngle(stage.axis(0), -dy * speed)).normalize();
  stage.ask();
}

// twist turns the picture in its own plane.
function twist(stage, angle) {
  stage.turn.premultiply(new Quaternion().setFromAxisAngle(stage.axis(2), angle)).normalize();
  stage.ask();
}

// handle gives the stage its controls. A press that does not move is a click and goes to click(x, y);
// grab(x, y) may take a press for itself by returning a function that follows it; its done() is
// called when it ends.
export function handle(stage, { click, grab, home }) {
  const el = stage.element, down = new Map();
  let moved = 0, follow = null;
  const at = (e) => {
    const b = el.getBoundingClientRect();
    return [e.clientX - b.left - el.clientLeft, e.clientY - b.top - el.clientTop];
  };
  el.addEventListener('pointerdown', (e) => {
    if (e.target.closest('button')) return;
    stage.halt();
    el.setPointerCapture(e.pointerId);
    const p = at(e);
    if (down.size === 0) {
      moved = 0;
      follow = e.button === 0 && !e.shiftKey ? grab(...p) : null;
    }
    down.set(e.pointerId, { p, shift: e.shiftKey || e.button > 0 });
  });
  el.addEventListener('pointermove', (e) => {
    const d = down.get(e.pointerId);
    if (!d) return;
    const p = at(e), dx = p[0] - d.p[0], dy = p[1] - d.p[1];
    moved += Math.abs(dx) + Math.abs(dy);
    if (down.size === 1) {
      d.p = p;
      if (moved < 4) return;
      if (follow) follow(...p);
      else if (d.shift) move(stage, dx, dy);
      else roll(stage, dx, dy);
      return;
    }
    const other = [...down.entries()].find(([id]) => id !== e.pointerId)[1].p;
    const was = [d.p[0] - other[0], d.p[1] - other[1]], is = [p[0] - other[0], p[1] - other[1]];
    const mid = [(p[0] + other[0]) / 2, (p[1] + other[1]) / 2];
    d.p = p;
    move(stage, dx / 2, dy / 2);
    zoom(stage, Math.hypot(...was) / Math.max(1, Math.hypot(...is)), ...mid);
    twist(stage, Math.atan2(is[1], is[0]) - Math.atan2(was[1], was[0]));
  });
  const up = (e) => {
    const d = down.get(e.pointerId);
    if (!d) return;
    down.delete(e.pointerId);
    if (down.size === 0 && moved < 4 && e.type === 'pointerup' && !d.shift) click(...at(e));
    if (down.size === 0) {
      follow?.done?.();
      follow = null;
    }
  };
  el.addEventListener('pointerup', up);
  el.addEventListener('pointercancel', up);
  el.addEventListener('contextmenu', (e) => e.preventDefault());
  el.addEventListener('wheel', (e) => {
    e.preventDefault();
    stage.halt();
    zoom(stage, Math.exp(e.deltaY * (e.deltaMode ? 0.05 : 0.0015)), ...at(e));
  }, { passive: false });
  el.addEventListener('keydown', (e) => {
    if (e.target !== el || e.ctrlKey || e.metaKey || e.altKey) return;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const a = arrows[e.key], size = Math.min(stage.width, stage.height);
    stage.halt();
    if (a && e.shiftKey) move(stage, a[0] * 24, a[1] * 24);
    else if (a) roll(stage, a[0] * size / 24, a[1] * size / 24);
    else if (e.key === '+' || e.key === '=') zoom(stage, 0.8);
    else if (e.key === '-' || e.key === '_') zoom(stage, 1.25);
    else if (e.key === 'Home') home();
    else if (e.key === 'Enter' || e.key === ' ') click(stage.width / 2, stage.height / 2);
    else return;
    e.preventDefault();
  });
}
