// The page as a part of another page, the one of fornix's local app: it is told where to look, shows the
// landmarks to be corrected, and tells where they were dragged to. By itself it is nobody's part.
import { Group, Vector3 } from 'three';
import { over, path, sign } from './marks.mjs';

const REACH = 24; // pixels from a press to a landmark
const FOUND = [{ colour: '#ffffff', width: 7 }, { colour: '#18181c', width: 3 }];
const MOVED = [{ colour: '#ffffff', width: 9 }, { colour: '#1d5a94', width: 5 }];

// part reports whether the page stands in another one that asked for it so.
export const part = window.parent !== window && location.hash === '#part';

export class Host {
  constructor(stage, middle, { fly, marks }) {
    Object.assign(this, { stage, fly, marks });
    this.middle = new Vector3(...middle);
    this.handles = []; // { name, at, group, label }
    this.placing = ''; // the landmark that the next click sets
    this.drawn = new Group();
    stage.scene.add(this.drawn);
    marks.guests = () => this.follow();
    addEventListener('message', (e) => {
      if (e.source === window.parent && e.data && typeof e.data === 'object') this.hear(e.data);
    });
    const main = document.querySelector('main');
    new ResizeObserver(() => this.say({ height: main.offsetHeight })).observe(main);
    if (innerWidth < 560) document.querySelector('#layers details').open = false; // the findings stand under it
    this.say({ ready: true });
  }

  // say tells the page around: what is said is no secret, and who hears it cannot be known by name here,
  // since this page has an origin of its own.
  say(what) { window.parent.postMessage({ fornix: 'part', ...what }, '*'); }

  hear(said) {
    if (typeof said.fly === 'number') this.fly(said.fly);
    if (Array.isArray(said.landmarks)) this.set(said.landmarks);
    if (typeof said.place === 'string') this.aim(said.place);
  }

  // set shows landmarks with handles, each { name, label, at, moved } with at in the scan's coordinates;
  // with none the page shows its own ones again.
  set(landmarks) {
    this.drawn.clear();
    this.handles = landmarks.map(({ name, label, at, moved }) => {
      const group = new Group(), pen = moved ? MOVED : FOUND;
      group.add(path([[-1, 0, 0], [1, 0, 0]], false, pen), path([[0, -1, 0], [0, 1, 0]], false, pen));
      over(group);
      const text = sign(innerWidth < 560 ? label.replace(/ left$/, ' L').replace(/ right$/, ' R') : label);
      this.drawn.add(group, text);
      return { name, at: new Vector3(...at).sub(this.middle), group, text };
    });
    this.marks.covered = landmarks.length > 0;
    this.stage.ask();
  }

  // aim has the next click, or Enter on the cross, set a landmark; the empty name ends that. One that is
  // there is brought to the middle.
  aim(name) {
    this.placing = name;
    document.getElementById('cross').hidden = !name;
    const h = this.handles.find((g) => g.name === name);
    if (h) this.stage.go({ turn: this.stage.turn.clone(), centre: h.at.clone(), half: Math.min(this.stage.half, 15) });
    if (name) this.stage.element.focus({ preventScroll: true });
  }

  // follow sets crosses and words in their places and returns the words.
  follow() {
    const s = this.stage, px = 1 / s.pixels, toward = s.axis(2);
    const seen = [];
    for (const h of this.handles) {
      h.visible = h === this.held || s.depth.shows(h.at, 1.5);
      h.group.visible = h.text.visible = h.visible;
      h.group.position.copy(h.at).addScaledVector(toward, 1.4);
      h.group.quaternion.copy(s.turn);
      h.group.scale.setScalar((h === this.held ? 15 : 10) * px);
      const [w, t] = h.text.userData.size;
      h.text.scale.set(w * px, t * px, 1);
      h.text.position.copy(h.at).addScaledVector(toward, 1.6).addScaledVector(s.axis(1), 24 * px);
      if (h.visible) seen.push([h.name, ...s.place(h.at).map((x) => x.toFixed(1))].join(' '));
    }
    s.element.dataset.handles = seen.join(';');
    return this.handles.map((h) => ({ sprite: h.text, at: h.at, beside: true }));
  }

  // grab takes hold of the landmark at a place in pixels, if one is seen there.
  grab(x, y) {
    let best = null, least = REACH;
    for (const h of this.handles) {
      const [a, b] = this.stage.place(h.at), d = Math.hypot(a - x, b - y);
      if (h.visible && d < least) {
        best = h;
        least = d;
      }
    }
    if (!best) return null;
    let moved = false;
    const follow = (px, py) => {
      const p = this.stage.pick(px, py);
      this.held = best;
      if (p) {
        moved = true;
        best.at.copy(p);
      }
      this.stage.ask();
    };
    follow.done = () => {
      this.held = null;
      if (moved) this.tell(best.name, best.at);
      this.stage.ask();
    };
    return follow;
  }

  // click sets the landmark that is asked for, and reports whether one is.
  click(x, y) {
    if (!this.placing) return false;
    const p = this.stage.pick(x, y);
    if (p) {
      const name = this.placing;
      this.aim('');
      this.tell(name, p);
    }
    return true;
  }

  tell(name, p) { this.say({ moved: name, at: p.clone().add(this.middle).toArray().map((v) => Math.round(v * 1e4) / 1e4) }); }
}
