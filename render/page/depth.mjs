// How near to the viewer the surface is under each place of the picture, so that marks which it hides
// are left out.
import { DoubleSide, Mesh, NearestFilter, Scene, ShaderMaterial, Vector3, WebGLRenderTarget } from 'three';

const WIDE = 256; // pixels of the coarse picture

const vertexShader = `
varying float vHeight, vAlong;
uniform vec4 uCut;
uniform float uReach;
void main() {
  vec4 seen = modelViewMatrix * vec4(position, 1.0);
  vHeight = 0.5 + 0.5 * seen.z / uReach;
  vAlong = dot((modelMatrix * vec4(position, 1.0)).xyz, uCut.xyz) - uCut.w;
  gl_Position = projectionMatrix * seen;
}`;

const fragmentShader = `
varying float vHeight, vAlong;
uniform bool uAway;
void main() {
  if (uAway && vAlong > 0.0) discard;
  float h = clamp(vHeight, 0.0, 1.0) * 255.0, a = floor(h), b = floor(fract(h) * 255.0);
  gl_FragColor = vec4(a, b, 0.0, 255.0) / 255.0;
}`;

export class Depth {
  constructor(stage) {
    this.stage = stage;
    this.material = new ShaderMaterial({
      vertexShader, fragmentShader, side: DoubleSide,
      uniforms: { uCut: stage.uniforms.uCut, uAway: stage.uniforms.uAway, uReach: { value: 1 } },
    });
    this.scene = new Scene();
    this.twins = stage.bodies.map((b) => new Mesh(b.mesh.geometry, this.material));
    this.scene.add(...this.twins);
    this.target = new WebGLRenderTarget(1, 1, { minFilter: NearestFilter, magFilter: NearestFilter });
    this.pixels = new Uint8Array(4);
  }

  // look measures anew, from where the stage's camera is.
  look() {
    const s = this.stage, h = Math.max(1, Math.round(WIDE * s.height / s.width));
    if (this.high !== h) {
      this.high = h;
      this.target.setSize(WIDE, h);
      this.pixels = new Uint8Array(4 * WIDE * h);
    }
    s.bodies.forEach((b, i) => {
      this.twins[i].visible = b.mesh.visible;
      this.twins[i].position.copy(b.mesh.position);
    });
    this.reach = this.material.uniforms.uReach.value = 2 * s.radius + s.apart + s.centre.length();
    s.renderer.setRenderTarget(this.target);
    s.renderer.clear();
    s.renderer.render(this.scene, s.camera);
    s.renderer.readRenderTargetPixels(this.target, 0, 0, WIDE, h, this.pixels);
    s.renderer.setRenderTarget(null);
  }

  // shows reports whether a point lies in the picture with no surface more than slack mm before it, on
  // what the section leaves.
  shows(p, slack) {
    const s = this.stage, [x, y] = s.place(p);
    if (s.uniforms.uAway.value && s.cut.distanceToPoint(p) > slack) return false;
    const i = Math.floor(x / s.width * WIDE), j = Math.floor((1 - y / s.height) * this.high);
    if (i < 0 || j < 0 || i >= WIDE || j >= this.high) return false;
    const height = new Vector3().subVectors(p, s.centre).dot(s.axis(2));
    for (let b = Math.max(0, j - 1); b <= Math.min(this.high - 1, j + 1); b++) {
      for (let a = Math.max(0, i - 1); a <= Math.min(WIDE - 1, i + 1); a++) {
        const k = 4 * (b * WIDE + a);
        if (this.pixels[k + 3] === 0) return true;
        const t = (this.pixels[k] + this.pixels[k + 1] / 255) / 255;
        if ((2 * t - 1) * this.reach <= height + slack) return true;
      }
    }
    return false;
  }
}
