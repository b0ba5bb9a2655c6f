// The page's script: it reads the data in the page and brings the view, its layers and its tools to life.
import { Vector3 } from 'three';
import { unpacked } from './body.mjs';
import { Host, part } from './host.mjs';
import { Marks } from './marks.mjs';
import { Measure } from './measure.mjs';
import { Panel } from './panel.mjs';
import { Section } from './section.mjs';
import { showSides } from './sides.mjs';
import { Stage } from './stage.mjs';
import { handle, zoom } from './turn.mjs';

const find = (id) => document.getElementById(id);
const root = document.documentElement;

// colours of the theme in force.
function theme() {
  const s = getComputedStyle(root), of = (name) => s.getPropertyValue(name).trim();
  return { ink: of('--ink'), soft: of('--soft'), rule: of('--rule'), accent: of('--accent'), stage: of('--stage') };
}

// themes lets the reader choose light or dark; at first it is as the system has it.
function themes(changed) {
  const dark = matchMedia('(prefers-color-scheme: dark)'), words = { system: 'as the system', light: 'light', dark: 'dark' };
  let choice = 'system';
  const button = find('theme');
  const set = () => {
    root.dataset.theme = choice === 'system' ? (dark.matches ? 'dark' : 'light') : choice;
    button.textContent = 'Theme: ' + words[choice];
    changed();
  };
  button.hidden = false;
  button.addEventListener('click', () => {
    const order = ['system', 'light', 'dark'];
    choice = order[(order.indexOf(choice) + 1) % 3];
    set();
  });
  dark.addEventListener('change', set);
  set();
}

// legend draws the colours of the border's thickness with their numbers and limits.
function legend(scale) {
  const at = find('legend');
  if (!at) return;
  const place = (mm) => 100 * (mm - scale.from) / (scale.to - scale.from) + '%';
  const steps = document.createElement('span');
  steps.className = 'steps';
  for (const c of scale.colours) steps.appendChild(document.createElement('i')).style.background = c;
  at.append(steps);
  const write = (mm, text, where) => {
    const s = at.appendChild(document.createElement('span'));
    s.className = 'at ' + where;
    s.textContent = text;
    s.style.left = place(mm);
  };
  if (scale.edges) {
    scale.edges.forEach((text, i) => {
      const s = at.appendChild(document.createElement('span'));
      s.className = 'at below';
      s.textContent = text;
      s.style.left = 100 * (i + 1) / scale.colours.length + '%';
    });
    at.classList.add('plain');
    return;
  }
  for (let mm = Math.ceil(scale.from); mm <= scale.to; mm++) write(mm, mm === Math.floor(scale.to) ? mm + ' mm' : String(mm), 'below');
  at.classList.toggle('plain', !scale.limits?.length);
  (scale.limits || []).forEach((l, i) => {
    if (l.mm >= scale.from && l.mm <= scale.to) write(l.mm, l.text, i % 2 ? 'above' : 'above high');
  });
}

function press(button, on) { button.setAttribute('aria-pressed', String(on)); }

// opposite names of the directions for the edges of the flat panel.
function edges(frame, third, right, up) {
  if (!frame) return ['', '', '', ''];
  const of = (d) => {
    for (const [axis, plus, minus] of [[frame.left, 'L', 'R'], [frame.posterior, 'back', 'front'], [frame.toward, ...third]]) {
      const a = new Vector3(...axis).dot(d);
      if (Math.abs(a) > 0.72) return a > 0 ? plus : minus;
    }
    return '';
  };
  return [of(right.clone().negate()), of(right), of(up), of(up.clone().negate())];
}

async function start() {
  root.classList.toggle('part', part);
  const data = JSON.parse(find('data').textContent);
  let panel = null;
  themes(() => panel?.draw());
  legend(data.scale);
  const surfaces = [];
  for (const s of data.surfaces) surfaces.push(await unpacked(s));
  const stage = new Stage(find('stage'), find('canvas'), data, surfaces);
  showSides(stage); // first, so that marks keep clear of it
  const precision = Math.ceil(200 * data.error_mm) / 100; // of a length between two points: both ends
  const measure = new Measure(stage, find('said'), precision); // before marks, for the same reason
  const marks = new Marks(stage);
  panel = new Panel(find('panel'), find('contour'), find('contour-said'), theme, precision);
  const section = new Section(stage, panel, find('slide'), find('slid'));

  const views = new Map(data.views.map((v) => [v.name, v]));
  const first = data.views[data.first];
  const current = (number) => {
    marks.current = number;
    for (const b of document.querySelectorAll('button.finding')) {
      if (Number(b.dataset.number) === number) b.setAttribute('aria-current', 'true');
      else b.removeAttribute('aria-current');
    }
    stage.ask();
  };
  const home = () => {
    current(0);
    stage.go(stage.whole(first));
  };
  const fly = (number) => {
    const f = data.findings.find((g) => g.number === number);
    if (!f) return;
    current(number);
    stage.go({ turn: Stage.facing(f.toward, f.up), centre: new Vector3(...f.at), half: f.half });
  };
  let host = null;
  handle(stage, {
    home,
    grab: (x, y) => host?.grab(x, y) || section.grab(x, y),
    click: (x, y) => {
      if (host?.click(x, y)) return;
      if (measure.on) measure.add(stage.pick(x, y));
      else {
        const number = marks.at(x, y);
        if (!number) return;
        fly(number);
        host?.say({ finding: number });
      }
    },
  });
  for (const b of document.querySelectorAll('[data-view]')) b.addEventListener('click', () => stage.go(stage.whole(views.get(b.dataset.view))));
  for (const b of document.querySelectorAll('button.finding')) {
    b.addEventListener('click', () => {
      fly(Number(b.dataset.number));
      if (!inSight(stage.element)) stage.element.scrollIntoView({ block: 'nearest' });
    });
  }
  find('reset').addEventListener('click', home);
  find('closer').addEventListener('click', () => zoom(stage, 0.8));
  find('farther').addEventListener('click', () => zoom(stage, 1.25));
  for (const box of document.querySelectorAll('[data-layer]')) {
    const set = () => {
      const body = stage.bodies.find((b) => b.name && b.name === box.dataset.layer);
      if (body) {
        body.mesh.visible = box.checked;
        stage.part(stage.apart);
        return;
      }
      if (box.dataset.layer === 'thickness' || box.dataset.layer === 'gap') stage.uniforms.uTint.value = box.checked;
      if (box.dataset.layer === 'colour') stage.uniforms.uColour.value = box.checked;
      if (box.dataset.layer === 'thickness' || box.dataset.layer === 'colour') stage.ask();
      else marks.show(box.dataset.layer, box.checked);
    };
    box.addEventListener('change', set);
    set();
  }
  find('apart')?.addEventListener('input', (e) => {
    const mm = Number(e.currentTarget.value);
    find('apart-mm').textContent = mm ? `${mm} mm open` : 'closed';
    stage.part(mm);
  });
  find('measure').addEventListener('click', (e) => {
    measure.show(!measure.on);
    press(e.currentTarget, measure.on);
    find('cross').hidden = !measure.on;
  });

  const aims = { left: 3, posterior: 2, toward: 0 }; // by the views that see the section flat
  const aim = (name) => {
    for (const b of document.querySelectorAll('[data-cut]')) press(b, b.dataset.cut === name);
    const v = name === 'sight' ? { toward: stage.axis(2).toArray(), up: stage.axis(1).toArray() } : data.views[aims[name]];
    section.aim(v.toward, v.up, () => edges(data.frame, data.third, section.right, section.up));
  };
  for (const b of document.querySelectorAll('[data-cut]')) b.addEventListener('click', () => aim(b.dataset.cut));
  const hide = () => {
    const away = section.on && find('away').checked;
    stage.uniforms.uAway.value = away;
    marks.clip(away ? [stage.kept] : []);
  };
  find('cut').addEventListener('click', (e) => {
    const on = !section.on;
    press(e.currentTarget, on);
    find('section').hidden = !on;
    if (on && !section.toward) aim('left');
    section.show(on);
    hide();
  });
  find('away').addEventListener('change', hide);

  for (const id of ['views', 'tools', 'zooms', 'layers']) find(id).hidden = false;
  stage.set(stage.whole(first));
  stage.draw();
  find('waiting').remove();
  root.classList.add('drawn');
  if (part) host = new Host(stage, data.middle, { fly, marks });
}

function inSight(el) {
  const b = el.getBoundingClientRect();
  return b.top > -0.25 * b.height && b.bottom < innerHeight + 0.25 * b.height;
}

start().catch((e) => {
  console.error(e);
  root.classList.add('flat');
  if (part) window.parent.postMessage({ fornix: 'part', flat: true }, '*');
  find('waiting').textContent = 'This browser cannot draw the scan; the pictures below show it. (' + e.message + ')';
});
