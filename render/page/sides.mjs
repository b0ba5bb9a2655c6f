// Where the patient's left and right are in the picture, from where it looks, and how long 10 mm are.
import { Vector3 } from 'three';

export function showSides(stage) {
  const find = (id) => document.getElementById(id);
  const left = find('side-left'), right = find('side-right'), looking = find('looking'), rule = find('rule');
  const f = stage.data.frame;
  rule.hidden = false;
  if (f) {
    left.textContent = 'L';
    right.textContent = 'R';
    left.title = 'patient’s left';
    right.title = 'patient’s right';
  }
  stage.addEventListener('before', () => {
    scale(stage, rule);
    turned();
    stage.edges = boxes(stage, [left, right, looking, rule, find('zooms')]);
  });
  const turned = () => {
    if (!f) {
      looking.textContent = 'patient’s side unknown';
      return;
    }
    const d = new Vector3(...f.left), x = d.dot(stage.axis(0)), y = d.dot(stage.axis(1)), along = Math.hypot(x, y);
    put(stage, left, x / along, -y / along, along > 0.3);
    put(stage, right, -x / along, y / along, along > 0.3);
    looking.textContent = 'seen from ' + words(stage, f);
  };
}

// boxes returns where elements stand over the picture, in its pixels: left, top, right, bottom.
function boxes(stage, elements) {
  const e = stage.element, at = e.getBoundingClientRect(), x = at.left + e.clientLeft, y = at.top + e.clientTop;
  return elements.filter((o) => !o.hidden).map((o) => o.getBoundingClientRect()).map((b) => [b.left - x, b.top - y, b.right - x, b.bottom - y]);
}

// put sets a label at the edge of the picture in the direction x, y (down).
function put(stage, el, x, y, shown) {
  el.hidden = !shown;
  if (!shown) return;
  const w = stage.width / 2 - 24, h = stage.height / 2 - 24;
  const t = Math.min(Math.abs(x) > 1e-6 ? w / Math.abs(x) : Infinity, Math.abs(y) > 1e-6 ? h / Math.abs(y) : Infinity);
  el.style.transform = `translate(${(stage.width / 2 + x * t).toFixed(1)}px, ${(stage.height / 2 + y * t).toFixed(1)}px) translate(-50%, -50%)`;
}

// words name the patient's directions toward which the viewer stands, the chief one first.
function words(stage, f) {
  const t = stage.axis(2), parts = [];
  const of = (axis, plus, minus) => {
    const a = new Vector3(...axis).dot(t);
    if (Math.abs(a) > 0.4) parts.push([Math.abs(a), a > 0 ? plus : minus]);
  };
  of(f.left, 'the patient’s left', 'the patient’s right');
  of(f.posterior, 'the back', 'the front');
  of(f.toward, ...stage.data.third.map((w) => 'the ' + w));
  parts.sort((a, b) => b[0] - a[0]);
  return parts.slice(0, 2).map((p) => p[1]).join(' and ');
}

function scale(stage, rule) {
  const room = Math.min(160, stage.width / 3);
  const mm = [50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1].find((l) => l * stage.pixels <= room) || 0.1;
  rule.style.width = (mm * stage.pixels).toFixed(1) + 'px';
  rule.firstElementChild.textContent = mm + ' mm';
}
