// The distance between two points of the surface.
import { Group } from 'three';
import { over, path, sign } from './marks.mjs';

const LINE = [{ colour: '#ffffff', width: 6 }, { colour: '#1e5c96', width: 2.5 }];

export class Measure {
  constructor(stage, said, precision) {
    Object.assign(this, { stage, said, precision });
    this.points = [];
    this.on = false;
    this.drawn = new Group();
    stage.scene.add(this.drawn);
    stage.addEventListener('before', () => this.follow());
  }

  show(on) {
    this.on = on;
    this.set([]);
    this.said.textContent = on ? 'Click two points of the scan, or turn a point under the cross and press Enter.' : '';
  }

  add(p) {
    if (!p) {
      this.said.textContent = 'No surface there.';
      return;
    }
    this.set(this.points.length === 1 ? [this.points[0], p] : [p]);
    this.said.textContent = this.points.length === 1 ? 'First point set.' :
      `Distance ${this.points[0].distanceTo(p).toFixed(2)} ± ${this.precision.toFixed(2)} mm.`;
  }

  set(points) {
    this.points = points;
    this.drawn.clear();
    this.ends = points.map(() => {
      const g = new Group();
      g.add(path([[-1, 0, 0], [1, 0, 0]], false, LINE), path([[0, -1, 0], [0, 1, 0]], false, LINE));
      this.drawn.add(g);
      return g;
    });
    this.text = null;
    if (points.length === 2) {
      this.drawn.add(path(points.map((p) => p.toArray()), false, LINE));
      this.text = sign(`${points[0].distanceTo(points[1]).toFixed(2)} mm`);
      this.drawn.add(this.text);
      over(this.drawn);
    }
    this.stage.ask();
  }

  follow() {
    const s = this.stage, px = 1 / s.pixels, toward = s.axis(2);
    this.ends?.forEach((g, i) => {
      g.position.copy(this.points[i]).addScaledVector(toward, 0.5);
      g.quaternion.copy(s.turn);
      g.scale.setScalar(8 * px);
    });
    if (!this.text) return;
    const [w, h] = this.text.userData.size;
    this.text.scale.set(w * px, h * px, 1);
    this.text.position.copy(this.points[0]).lerp(this.points[1], 0.5).addScaledVector(s.axis(1), 18 * px).addScaledVector(toward, 1);
    const [x, y] = s.place(this.text.position);
    s.edges.push([x - w / 2, y - h / 2, x + w / 2, y + h / 2]);
  }
}

