// A scan in the picture: its surface, its colours, and where it stands.
import {
  BufferAttribute, BufferGeometry, Color, DataTexture, DoubleSide, Mesh, NearestFilter, RedFormat, ShaderMaterial, UnsignedByteType, Vector3,
} from 'three';
import { bytes, colours, normals, shares, unpack } from './surface.mjs';

const vertexShader = `
attribute vec3 share, colour;
varying vec3 vNormal, vShare, vLocal, vColour;
varying float vAlong, vFlat;
uniform vec4 uCut;
uniform vec3 uMapUp;
void main() {
  vNormal = normalMatrix * normal;
  vShare = share;
  vColour = colour;
  vLocal = position;
  vFlat = dot(normal, uMapUp);
  vAlong = dot((modelMatrix * vec4(position, 1.0)).xyz, uCut.xyz) - uCut.w;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

// Thicknesses that differ by noise alone look alike, since neighbouring colours blend over a quarter of
// a step. Light falls from the viewer's upper left, so that relief reads the same from every side.
const fragmentShader = `
varying vec3 vNormal, vShare, vLocal, vColour;
varying float vAlong, vFlat;
uniform bool uAway, uTint, uColour, uColoured, uInsideOut;
uniform vec3 uFront, uBack;
uniform vec3 uSteps[STEPS];
uniform sampler2D uMap;
uniform vec3 uMapAt, uMapRight, uMapOn, uMapUp;
uniform vec2 uMapSize;
const float BLEND = 0.25;
vec3 stepAt(float share) {
  float at = clamp(share, 0.0, 0.9999) * float(STEPS);
  int i = int(at);
  float f = fract(at);
  vec3 base = uSteps[i];
  if (f < BLEND && i > 0) base = mix(uSteps[i - 1], base, 0.5 + 0.5 * f / BLEND);
  if (f > 1.0 - BLEND && i < STEPS - 1) base = mix(base, uSteps[i + 1], 0.5 * (f - 1.0 + BLEND) / BLEND);
  return base;
}
void main() {
  if (uAway && vAlong > 0.0) discard;
  vec3 n = normalize(vNormal);
  // A sliver of a rough scan may turn its back while the surface round it does not.
  bool front = gl_FrontFacing != uInsideOut || (uInsideOut ? -n.z : n.z) > -0.2;
  if (n.z < 0.0) n = -n;
  vec3 base = front ? uFront : uBack;
  if (front && uColour && uColoured) base = sRGBTransferEOTF(vec4(vColour, 1.0)).rgb;
  if (front && uTint && vShare.y > 0.0 && vShare.z > 0.502) base = stepAt(vShare.x / vShare.y);
  // A map lies on what faces it, near its plane.
  vec3 on = vLocal - uMapAt;
  vec2 at = vec2(dot(on, uMapRight), dot(on, uMapOn)) / uMapSize;
  if (front && uTint && vFlat > 0.6 && abs(dot(on, uMapUp)) < 6.0 && at == clamp(at, 0.0, 1.0)) {
    float there = texture2D(uMap, at).r * 255.0;
    if (there > 0.5) base = stepAt((there - 1.0) / 254.0);
  }
  float lit = 0.2 + 0.66 * max(0.0, dot(n, normalize(vec3(-0.6, 0.75, 0.75)))) + 0.24 * n.z;
  gl_FragColor = vec4(base * min(lit, 1.06), 1.0);
  #include <colorspace_fragment>
}`;

// linear colours, as the shader wants them.
const tone = (hex) => new Color(hex);
const tones = [['#e2d9cb', '#808a98'], ['#c9d6e2', '#8a8478']]; // front and back; the second body's are cooler

// unpacked reads a surface of the page's data.
export async function unpacked(surface) {
  const { positions, faces } = await unpack(surface);
  const map = surface.map && { ...surface.map, cells: await bytes(surface.map.data) };
  return { ...surface, map, positions, faces, share: await shares(surface.tint, surface.vertices),
    paint: await colours(surface.colour, surface.vertices, surface.levels), normal: normals(positions, faces) };
}

export class Body {
  constructor(surface, data, uniforms) {
    this.name = surface.name || '';
    this.positions = surface.positions;
    this.faces = surface.faces;
    this.aside = new Vector3(...(surface.aside || [0, 0, 0])); // where it goes when the bodies are opened
    const g = new BufferGeometry();
    g.setAttribute('position', new BufferAttribute(surface.positions, 3));
    g.setAttribute('normal', new BufferAttribute(surface.normal, 3));
    g.setAttribute('share', new BufferAttribute(surface.share, 3));
    if (surface.paint) g.setAttribute('colour', new BufferAttribute(surface.paint, 3, true));
    g.setIndex(new BufferAttribute(surface.faces, 1));
    g.computeBoundingSphere();
    this.reach = g.boundingSphere.radius + g.boundingSphere.center.length();
    const [front, back] = tones[surface.second ? 1 : 0], m = surface.map;
    this.mesh = new Mesh(g, new ShaderMaterial({
      vertexShader, fragmentShader, side: DoubleSide, defines: { STEPS: data.scale.colours.length },
      polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
      uniforms: {
        ...uniforms, uInsideOut: { value: surface.inside_out }, uColoured: { value: !!surface.paint }, uFront: { value: tone(front) }, uBack: { value: tone(back) },
        uSteps: { value: data.scale.colours.map(tone) },
        uMap: { value: picture(m) }, uMapAt: { value: new Vector3(...(m ? m.at : [0, 0, 0])) },
        uMapRight: { value: new Vector3(...(m ? m.right : [0, 0, 0])) }, uMapOn: { value: new Vector3(...(m ? m.on : [0, 0, 0])) },
        uMapUp: { value: new Vector3(...(m ? m.up : [0, 0, 0])) }, // none: nothing faces it
        uMapSize: { value: m ? [m.wide * m.cell_mm, m.high * m.cell_mm] : [1, 1] },
      },
    }));
  }
}

// picture makes a map of bytes, 0 where there is nothing, into what the shader reads.
function picture(map) {
  const t = new DataTexture(map ? map.cells : new Uint8Array(1), map ? map.wide : 1, map ? map.high : 1, RedFormat, UnsignedByteType);
  t.minFilter = t.magFilter = NearestFilter;
  t.unpackAlignment = 1;
  t.needsUpdate = true;
  return t;
}
